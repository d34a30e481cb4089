//! The command line's way to the people: the first keeper is made here, and whoever forgot a password
//! gets another one.

use std::{
    io::{self, BufRead as _, IsTerminal as _},
    path::Path,
    process::ExitCode,
};

use clap::Subcommand;

use super::{Failure, say};
use crate::{
    clock::Clock,
    db::{self, Db},
    model::{
        person::{Password, Person, Role},
        text::Name,
    },
    people::{Doors, PeopleError, enter, roll},
};

/// What to do with the people.
#[derive(Debug, Subcommand)]
pub(super) enum People {
    /// Add somebody who signs in, or give somebody another role and password
    ///
    /// Asks for the password twice; where standard input is not a terminal, its first line is taken.
    Add {
        /// The name, as the log says it
        name: String,
        /// What they may do: look, work or keep
        #[arg(long, default_value = "work", value_parser = role)]
        role: Role,
    },
    /// Give somebody another password; all their browsers are signed out
    Password {
        /// The name
        name: String,
    },
    /// List everybody with their roles
    List,
    /// Sign somebody out everywhere
    SignOut {
        /// The name
        name: String,
    },
    /// Take somebody off the list; the log keeps the name
    Remove {
        /// The name
        name: String,
    },
}

fn role(text: &str) -> Result<Role, String> {
    text.parse()
        .map_err(|_| "write look, work or keep".to_owned())
}

fn password() -> Result<Password, Failure> {
    let typed = if io::stdin().is_terminal() {
        let first = rpassword::prompt_password("Password: ").map_err(Failure::Password)?;
        let again = rpassword::prompt_password("Once more: ").map_err(Failure::Password)?;
        if first != again {
            return Err(Failure::People(PeopleError::Refused(
                "The two passwords are not the same. Nothing was changed.",
            )));
        }
        first
    } else {
        let mut line = String::new();
        io::stdin()
            .lock()
            .read_line(&mut line)
            .map_err(Failure::Password)?;
        line.trim_end_matches(['\r', '\n']).to_owned()
    };
    Password::new(&typed).map_err(|why| {
        Failure::People(PeopleError::Field {
            field: "password",
            message: why.to_string(),
        })
    })
}

async fn find(db: &Db, name: &str) -> Result<Person, Failure> {
    let found = db::person::find(&mut *db.read().await?, name.trim()).await?;
    found.ok_or_else(|| Failure::Nobody(name.to_owned()))
}

/// Carries it out.
pub(super) async fn run(data: &Path, asked: People) -> Result<ExitCode, Failure> {
    // The first keeper may be made before anything was served.
    let db = Db::open(data).await?;
    let done = carry_out(&db, asked).await;
    db.close().await;
    done.map(|()| ExitCode::SUCCESS)
}

async fn carry_out(db: &Db, asked: People) -> Result<(), Failure> {
    let (doors, now_ms) = (Doors::default(), Clock::System.now_ms());
    let by = Name::parse("command line").map_err(|why| Failure::BadName(why.to_string()))?;
    match asked {
        People::Add { name, role } => {
            let name = Name::parse(&name).map_err(|why| Failure::BadName(why.to_string()))?;
            let password = password()?;
            roll::set(db, &doors, &by, &name, role, password, now_ms).await?;
            say(format_args!("{name} may {}.", role.may()));
        }
        People::Password { name } => {
            let person = find(db, &name).await?;
            let password = password()?;
            roll::set(db, &doors, &by, &person.name, person.role, password, now_ms).await?;
            say(format_args!(
                "{} has another password and is signed out everywhere.",
                person.name
            ));
        }
        People::List => {
            let all = db::person::list(&mut *db.read().await?).await?;
            if all.is_empty() {
                say("Nobody is on the list yet.");
            }
            for person in all {
                let how = if person.signs_in { "" } else { ", no password" };
                say(format_args!(
                    "{}: {}{how}",
                    person.name,
                    person.role.label()
                ));
            }
        }
        People::SignOut { name } => {
            let person = find(db, &name).await?;
            let ended = enter::sign_out_everywhere(db, &by, &person, None, now_ms).await?;
            say(format_args!(
                "{} is signed out of {ended} browsers.",
                person.name
            ));
        }
        People::Remove { name } => {
            let person = find(db, &name).await?;
            roll::remove(db, &by, person.id, now_ms).await?;
            say(format_args!("{} is off the list.", person.name));
        }
    }
    Ok(())
}
