//! The command line as a process of its own: what it prints, where, and how it ends.

use std::{
    io::{BufRead as _, BufReader, Read as _},
    path::{Path, PathBuf},
    process::{Child, Command, Output, Stdio},
    time::{Duration, Instant},
};

fn tapewright(args: &[&str], folder: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_tapewright"));
    command
        .args(args)
        .current_dir(folder)
        .env_remove("RUST_LOG")
        .stdin(Stdio::null());
    command
}

fn run(args: &[&str], folder: &Path) -> Output {
    tapewright(args, folder).output().expect("it runs")
}

fn text(bytes: &[u8]) -> &str {
    std::str::from_utf8(bytes).expect("text")
}

/// A served process, ended with the test.
struct Served {
    child: Child,
    address: String,
}

impl Served {
    fn start(args: &[&str], folder: &Path) -> Self {
        let mut all = vec!["serve", "--listen", "127.0.0.1:0"];
        all.extend_from_slice(args);
        let mut child = tapewright(&all, folder)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("it starts");
        let stdout = child.stdout.take().expect("its stdout");
        let mut address = String::new();
        BufReader::new(stdout)
            .read_line(&mut address)
            .expect("its first line");
        Self {
            child,
            address: address.trim().trim_end_matches('/').to_owned(),
        }
    }

    fn get(&self, path: &str) -> u16 {
        let agent: ureq::Agent = ureq::Agent::config_builder()
            .http_status_as_error(false)
            .build()
            .into();
        let answer = agent.get(format!("{}{path}", self.address)).call();
        answer.expect("an answer").status().as_u16()
    }

    /// Sends a signal and gives its exit code and what it wrote to stderr.
    fn end(mut self, signal: &str) -> (Option<i32>, String) {
        let sent = Command::new("kill")
            .args([format!("-{signal}"), self.child.id().to_string()])
            .status()
            .expect("kill runs");
        assert!(sent.success());
        let until = Instant::now() + Duration::from_secs(10);
        let status = loop {
            if let Some(status) = self.child.try_wait().expect("its end") {
                break status;
            }
            assert!(Instant::now() < until, "{signal} did not end it");
            std::thread::sleep(Duration::from_millis(10));
        };
        let mut log = String::new();
        let mut stderr = self.child.stderr.take().expect("its stderr");
        stderr.read_to_string(&mut log).expect("text");
        (status.code(), log)
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        // Already gone where the test went well.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

#[test]
fn help_names_every_command_and_the_exit_codes() {
    let folder = tempfile::tempdir().unwrap();
    let out = run(&["--help"], folder.path());
    assert_eq!(out.status.code(), Some(0));
    let help = text(&out.stdout);
    for word in [
        "serve",
        "plan",
        "calc",
        "check",
        "backup",
        "--data",
        "Exit codes: 0",
        "tapewright-data",
    ] {
        assert!(help.contains(word), "{word}: {help}");
    }
    let out = run(&["serve", "--help"], folder.path());
    for word in [
        "--listen",
        "--sign-in",
        "--behind-https",
        "--host",
        "127.0.0.1:8470",
        "RUST_LOG",
    ] {
        assert!(text(&out.stdout).contains(word), "{word}");
    }
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0);
}

#[test]
fn a_wrong_command_line_is_told_on_stderr_with_code_2() {
    let folder = tempfile::tempdir().unwrap();
    for (args, says) in [
        (&[][..], "Usage"),
        (&["serve", "--listen", "8470"], "such as 127.0.0.1:8470"),
        (&["serve", "--host", "http://hall.test"], "bare name"),
        (&["sevre"], "sevre"),
        (&["backup"], "FILE"),
        (&["serve", "--listen", "0.0.0.0:0"], "people add NAME"),
        (
            &["people", "add", "Ada", "--role", "king"],
            "look, work or keep",
        ),
    ] {
        let out = run(args, folder.path());
        assert_eq!(out.status.code(), Some(2), "{args:?}");
        assert!(
            text(&out.stderr).contains(says),
            "{args:?}: {}",
            text(&out.stderr)
        );
        assert_eq!(text(&out.stdout), "", "{args:?}");
    }
    // Refused before anything was made.
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0);
}

#[test]
fn serve_prints_its_address_and_ends_on_either_signal() {
    let folder = tempfile::tempdir().unwrap();
    for signal in ["TERM", "INT"] {
        let served = Served::start(&[], folder.path());
        assert!(
            served.address.starts_with("http://127.0.0.1:"),
            "{}",
            served.address
        );
        assert_eq!(served.get("/who"), 200);
        assert_eq!(served.get("/no-such-page"), 404);
        let (code, log) = served.end(signal);
        assert_eq!(code, Some(0), "{signal}: {log}");
        assert!(log.contains("stopped"), "{log}");
        assert!(!log.contains("/who"), "a request in the log: {log}");
        assert!(
            folder
                .path()
                .join("tapewright-data/tapewright.sqlite")
                .is_file()
        );
        // Folded into the file: nothing waits in a log beside it.
        assert!(
            !folder
                .path()
                .join("tapewright-data/tapewright.sqlite-wal")
                .exists()
        );
    }
}

#[test]
fn rust_log_makes_the_log_talk() {
    let folder = tempfile::tempdir().unwrap();
    let mut child = tapewright(&["serve", "--listen", "127.0.0.1:0"], folder.path());
    child.env("RUST_LOG", "tower_http=debug");
    let mut child = child
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut address = String::new();
    BufReader::new(child.stdout.take().unwrap())
        .read_line(&mut address)
        .unwrap();
    let served = Served {
        child,
        address: address.trim().trim_end_matches('/').to_owned(),
    };
    served.get("/who");
    let (_, log) = served.end("TERM");
    assert!(log.contains("/who"), "{log}");
}

#[test]
fn a_taken_port_is_told_with_what_to_do() {
    let folder = tempfile::tempdir().unwrap();
    let served = Served::start(&[], folder.path());
    let taken = served.address.trim_start_matches("http://");
    let out = run(
        &["serve", "--listen", taken, "--data", "other"],
        folder.path(),
    );
    assert_eq!(out.status.code(), Some(1));
    assert!(
        text(&out.stderr).contains("--listen"),
        "{}",
        text(&out.stderr)
    );
}

/// Runs a command with a line on its standard input.
fn told(args: &[&str], folder: &Path, line: &str) -> Output {
    use std::io::Write as _;
    let mut child = tapewright(args, folder)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it starts");
    let mut stdin = child.stdin.take().expect("its input");
    writeln!(stdin, "{line}").expect("it listens");
    drop(stdin);
    child.wait_with_output().expect("it ends")
}

#[test]
fn the_network_gets_in_by_signing_in_only() {
    let folder = tempfile::tempdir().unwrap();
    let add = ["people", "add", "Ada", "--role", "keep"];
    let short = told(&add, folder.path(), "short");
    assert_eq!(short.status.code(), Some(2));
    assert!(
        text(&short.stderr).contains("10 to 200"),
        "{}",
        text(&short.stderr)
    );
    let added = told(&add, folder.path(), "lamp over the pond");
    assert_eq!(added.status.code(), Some(0), "{}", text(&added.stderr));
    assert!(
        !text(&added.stdout).contains("lamp"),
        "the password is not told"
    );
    let everybody = run(&["people", "list"], folder.path());
    assert_eq!(text(&everybody.stdout), "Ada: keep\n");

    let mut child = tapewright(&["serve", "--listen", "0.0.0.0:0"], folder.path())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut address = String::new();
    BufReader::new(child.stdout.take().unwrap())
        .read_line(&mut address)
        .unwrap();
    let port = address
        .trim()
        .trim_end_matches('/')
        .rsplit(':')
        .next()
        .unwrap();
    let served = Served {
        child,
        address: format!("http://127.0.0.1:{port}"),
    };
    assert_eq!(served.get("/sign-in"), 200);
    assert_eq!(served.get("/api/v1/things"), 401);
    // While it is served, somebody is taken off and a password is changed; the last keeper stays.
    let last = run(&["people", "remove", "Ada"], folder.path());
    assert_eq!(last.status.code(), Some(1));
    assert!(
        text(&last.stderr).contains("last keeper"),
        "{}",
        text(&last.stderr)
    );
    let other = told(
        &["people", "password", "Ada"],
        folder.path(),
        "pond over the lamp",
    );
    assert_eq!(other.status.code(), Some(0), "{}", text(&other.stderr));
    let (code, log) = served.end("TERM");
    assert_eq!(code, Some(0));
    assert!(log.contains("over plain http"), "{log}");
    assert!(!log.contains("pond"), "{log}");
}

#[test]
fn a_backup_is_made_while_it_is_served_and_overwrites_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let served = Served::start(&["--data", "hall"], folder.path());
    assert_eq!(served.get("/who"), 200);
    let out = run(
        &["backup", "before.sqlite", "--data", "hall"],
        folder.path(),
    );
    assert_eq!(out.status.code(), Some(0), "{}", text(&out.stderr));
    assert!(
        text(&out.stdout).starts_with("before.sqlite: "),
        "{}",
        text(&out.stdout)
    );
    let made = std::fs::read(folder.path().join("before.sqlite")).unwrap();
    assert!(made.starts_with(b"SQLite format 3\0"));

    let out = run(
        &["backup", "before.sqlite", "--data", "hall"],
        folder.path(),
    );
    assert_eq!(out.status.code(), Some(1));
    assert!(
        text(&out.stderr).contains("is there already"),
        "{}",
        text(&out.stderr)
    );
    assert_eq!(
        std::fs::read(folder.path().join("before.sqlite")).unwrap(),
        made
    );

    // As the help says: in a folder of its own it serves.
    std::fs::create_dir(folder.path().join("again")).unwrap();
    std::fs::rename(
        folder.path().join("before.sqlite"),
        folder.path().join("again/tapewright.sqlite"),
    )
    .unwrap();
    assert_eq!(
        Served::start(&["--data", "again"], folder.path()).get("/who"),
        200
    );
}

#[test]
fn a_backup_of_nothing_makes_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let out = run(&["backup", "b.sqlite"], folder.path());
    assert_eq!(out.status.code(), Some(1));
    assert!(
        text(&out.stderr).contains("There is no database"),
        "{}",
        text(&out.stderr)
    );
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0);
}

/// Runs statements on a database behind the service's back.
fn tamper(file: &Path, statements: &str) {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .expect("a runtime");
    runtime.block_on(async {
        use sqlx::{Connection as _, Executor as _};
        let options = sqlx::sqlite::SqliteConnectOptions::new()
            .filename(file)
            .foreign_keys(false);
        let mut db = sqlx::SqliteConnection::connect_with(&options)
            .await
            .expect("it opens");
        db.execute(sqlx::AssertSqlSafe(statements.to_owned()))
            .await
            .expect("it is done");
        db.close().await.expect("it closes");
    });
}

/// Makes an empty database.
fn make(folder: &Path) -> PathBuf {
    Served::start(&[], folder).end("TERM");
    folder.join("tapewright-data/tapewright.sqlite")
}

#[test]
fn check_finds_nothing_where_all_is_well_and_names_what_is_wrong() {
    let folder = tempfile::tempdir().unwrap();
    let out = run(&["check"], folder.path());
    assert_eq!(out.status.code(), Some(1));
    assert!(text(&out.stderr).contains("There is no database"));
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0);

    let file = make(folder.path());
    let out = run(&["check"], folder.path());
    assert_eq!(out.status.code(), Some(0), "{}", text(&out.stdout));
    assert_eq!(text(&out.stdout), "All is well.\n");

    tamper(
        &file,
        "INSERT INTO place (id, parent_id, name, kind) VALUES (7, 999, 'nowhere', 'shelf');",
    );
    let out = run(&["check"], folder.path());
    assert_eq!(out.status.code(), Some(1));
    let found = text(&out.stdout);
    assert!(
        found.contains("Row 7 of place refers to a place that is not there."),
        "{found}"
    );
    assert!(found.contains("1 found."), "{found}");
}

#[test]
fn a_damaged_file_is_told_and_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    let file = make(folder.path());
    let mut bytes = std::fs::read(&file).unwrap();
    for byte in &mut bytes[4096..] {
        *byte = 0x5a;
    }
    std::fs::write(&file, &bytes).unwrap();
    for args in [
        &["check"][..],
        &["backup", "b.sqlite"],
        &["plan", "1"],
        &["serve"],
    ] {
        let out = run(args, folder.path());
        assert_eq!(out.status.code(), Some(1), "{args:?}");
        assert!(
            !text(&out.stderr).is_empty() || text(&out.stdout).contains("found"),
            "{args:?}"
        );
    }
    assert!(!folder.path().join("b.sqlite").exists());
    assert_eq!(std::fs::read(&file).unwrap(), bytes);
}

#[test]
fn a_database_of_a_newer_program_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let file = make(folder.path());
    tamper(
        &file,
        "INSERT INTO _sqlx_migrations (version, description, success, checksum, execution_time)
         VALUES (9999, 'from the future', 1, x'00', 0);",
    );
    let out = run(&["serve"], folder.path());
    assert_eq!(out.status.code(), Some(1));
    assert!(
        text(&out.stderr).contains("newer Tapewright"),
        "{}",
        text(&out.stderr)
    );
}

#[test]
fn a_plan_of_no_set_names_those_that_there_are() {
    let folder = tempfile::tempdir().unwrap();
    make(folder.path());
    let out = run(&["plan", "Tea dance"], folder.path());
    assert_eq!(out.status.code(), Some(1));
    assert!(
        text(&out.stderr).contains("There is no set “Tea dance”. There is none at all yet."),
        "{}",
        text(&out.stderr)
    );
    assert_eq!(text(&out.stdout), "");
}

#[test]
fn the_sample_is_served_checked_and_planned() {
    let folder = tempfile::tempdir().unwrap();
    let served = Served::start(&["--sample"], folder.path());
    assert_eq!(served.get("/who"), 200);
    let out = run(&["check"], folder.path());
    assert_eq!(text(&out.stdout), "All is well.\n", "{}", text(&out.stderr));

    let out = run(&["plan", "midsummer play"], folder.path());
    assert_eq!(out.status.code(), Some(0), "{}", text(&out.stderr));
    let plan = text(&out.stdout);
    for word in [
        "Midsummer play (draft)",
        "12 bars",
        "\nCuts\n",
        "\nShortfall\n",
        "\nShopping list\n",
    ] {
        assert!(plan.contains(word), "{word}: {plan}");
    }

    let out = run(&["plan", "Midsummer play", "--json"], folder.path());
    let json: serde_json::Value = serde_json::from_slice(&out.stdout).unwrap();
    assert_eq!(json["design"]["name"], "Midsummer play");
    assert_eq!(json["keeps_every_limit"], true);
    assert_eq!(json["is_short"], true);
    assert_eq!(json["plan"]["bars"].as_array().unwrap().len(), 12);
    // The number names the same set.
    let id = json["design"]["id"].to_string();
    assert_eq!(
        run(&["plan", &id, "--json"], folder.path()).stdout,
        out.stdout
    );

    let out = run(&["plan", "Winter play"], folder.path());
    assert!(
        text(&out.stderr).contains("Tea dance"),
        "{}",
        text(&out.stderr)
    );
    let (code, _) = served.end("TERM");
    assert_eq!(code, Some(0));
    // Once there is something in it, it stays as it is.
    let (_, log) = Served::start(&["--sample"], folder.path()).end("TERM");
    assert!(log.contains("left out"), "{log}");
}

#[test]
fn a_balance_that_is_not_the_sum_of_its_ledger_is_found() {
    let folder = tempfile::tempdir().unwrap();
    Served::start(&["--sample"], folder.path()).end("TERM");
    let file = folder.path().join("tapewright-data/tapewright.sqlite");
    tamper(
        &file,
        "UPDATE balance SET amount = amount + 1 WHERE part_id = (SELECT id FROM part WHERE name = 'Profile clip');",
    );
    let out = run(&["check"], folder.path());
    assert_eq!(out.status.code(), Some(1));
    assert!(
        text(&out.stdout).contains("Profile clip"),
        "{}",
        text(&out.stdout)
    );
}

#[test]
fn a_document_is_calculated_and_a_wrong_one_names_its_field() {
    let folder = tempfile::tempdir().unwrap();
    let mut asked: serde_json::Value = serde_json::json!({
        "unit_um": 50_000,
        "pieces": [{"name": "R-1", "units": 100, "start": "lead", "end": "lead"}],
        "bars": [{"name": "Window", "units": 24, "quantity": 3, "fed": "one_end"}],
        "usable_offcut_units": 10,
        "solder_weights": {"lead": 0, "joint": 1, "mark": 2},
    });
    let file = folder.path().join("asked.json");
    let calc = |asked: &serde_json::Value| {
        std::fs::write(&file, asked.to_string()).unwrap();
        run(&["calc", "cuts", "asked.json"], folder.path())
    };
    let out = calc(&asked);
    assert_eq!(out.status.code(), Some(0), "{}", text(&out.stderr));
    let said: serde_json::Value = serde_json::from_slice(&out.stdout).unwrap();
    // Two of three bars begin at a lead, the third is soldered at a mark (common practice).
    assert_eq!(said["solder_work"], 2);
    assert_eq!(said["proven"]["solder"], true);

    asked["bars"][0]["units"] = 0.into();
    let out = calc(&asked);
    assert_eq!(out.status.code(), Some(2));
    assert!(
        text(&out.stderr).contains("/bars/0/units"),
        "{}",
        text(&out.stderr)
    );
    // The same for feeds: nothing can be fed where nothing is listed.
    let feeds = |volts: i32| {
        let asked = serde_json::json!({
            "loads": [{"name": "A", "voltage_v": volts, "channels_a": [0.5]}],
            "drivers": [], "supplies": [],
        });
        std::fs::write(&file, asked.to_string()).unwrap();
        run(&["calc", "feeds", "asked.json"], folder.path())
    };
    let out = feeds(24);
    assert_eq!(out.status.code(), Some(0), "{}", text(&out.stderr));
    let said: serde_json::Value = serde_json::from_slice(&out.stdout).unwrap();
    assert_eq!(said["short"][0]["why"], "No driver is listed.");
    let out = feeds(0);
    assert_eq!(out.status.code(), Some(2));
    assert!(
        text(&out.stderr).contains("/loads/0/voltage_v"),
        "{}",
        text(&out.stderr)
    );
    // What JSON leaves open, a list for an object, and a name of nothing.
    for (asked, said) in [
        (
            r#"{"drivers": [], "drivers": []}"#,
            "/drivers: This stands here twice.",
        ),
        (
            r#"{"drivers": [["D1", 4, "menu"]]}"#,
            "/drivers/0: Send an object here",
        ),
        (
            r#"{"drivers": [{"name": " ", "slots": 4, "address_by": "menu"}]}"#,
            "/drivers/0/name: Send a name",
        ),
        (
            r#"{"drivers": [{"name": "D1", "slots": "four", "address_by": "menu"}]}"#,
            "/drivers/0/slots: Send a whole number",
        ),
    ] {
        std::fs::write(&file, asked).unwrap();
        let out = run(&["calc", "addresses", "asked.json"], folder.path());
        assert_eq!(out.status.code(), Some(2), "{asked}");
        assert!(text(&out.stderr).contains(said), "{}", text(&out.stderr));
    }
    std::fs::write(&file, "{").unwrap();
    let out = run(&["calc", "cuts", "asked.json"], folder.path());
    assert_eq!(out.status.code(), Some(2));
    assert!(
        text(&out.stderr).contains("not JSON"),
        "{}",
        text(&out.stderr)
    );
    // Standard input is empty here, which is no JSON either.
    assert_eq!(
        run(&["calc", "cuts", "-"], folder.path()).status.code(),
        Some(2)
    );
    assert_eq!(
        run(&["calc", "cuts", "none.json"], folder.path())
            .status
            .code(),
        Some(1)
    );
    assert_eq!(
        run(&["calc", "soup", "asked.json"], folder.path())
            .status
            .code(),
        Some(2)
    );
}

/// A folder that may be read and not written, as whoever runs the tests, or as nobody where that is
/// root, for whom no folder is read-only.
#[cfg(unix)]
#[test]
fn a_folder_that_cannot_be_written_is_told_and_left_alone() {
    use std::os::unix::fs::{MetadataExt as _, PermissionsExt as _};
    let folder = tempfile::tempdir().expect("a folder");
    let allow = |path: &Path, mode| {
        std::fs::set_permissions(path, std::fs::Permissions::from_mode(mode)).expect("permissions");
    };
    let data = folder.path().join("data");
    let out = run(&["check", "--data", "none"], folder.path());
    assert_eq!(out.status.code(), Some(1));
    Served::start(&["--data", "data"], folder.path()).end("TERM");
    let root = std::fs::metadata(&data).expect("the data folder").uid() == 0;
    let program = folder.path().join("program");
    std::fs::copy(env!("CARGO_BIN_EXE_tapewright"), &program).expect("a copy");
    allow(&program, 0o755);
    let mut files = Vec::new();
    for entry in std::fs::read_dir(&data).expect("the data folder") {
        let path = entry.expect("an entry").path();
        if path.is_file() {
            allow(&path, 0o444);
            files.push((path.clone(), std::fs::read(&path).expect("a file")));
        }
    }
    for path in [&data, folder.path()] {
        allow(path, 0o555);
    }
    let as_nobody = |args: &[&str]| {
        let mut command = if root {
            let mut command = Command::new("setpriv");
            command.args(["--reuid=65534", "--regid=65534", "--clear-groups"]);
            command.arg(&program);
            command
        } else {
            Command::new(&program)
        };
        command.args(args).current_dir("/").stdin(Stdio::null());
        command.output().expect("it runs")
    };
    let there = data.to_str().expect("a path");
    let new = folder.path().join("new");
    let new = new.to_str().expect("a path");
    for (path, said) in [(there, "Nothing was changed"), (new, "cannot be made")] {
        let out = as_nobody(&["serve", "--listen", "127.0.0.1:0", "--data", path]);
        assert_eq!(out.status.code(), Some(1), "{path}: {out:?}");
        assert!(text(&out.stderr).contains(said), "{}", text(&out.stderr));
        assert!(text(&out.stdout).is_empty());
    }
    let target = data.join("copy.sqlite");
    let out = as_nobody(&["backup", "--data", there, target.to_str().expect("a path")]);
    assert_eq!(out.status.code(), Some(1), "{out:?}");
    assert!(text(&out.stderr).contains("No backup was made"), "{out:?}");
    for path in [folder.path(), &data] {
        allow(path, 0o755);
    }
    let names = std::fs::read_dir(&data).expect("the data folder").count();
    for (path, bytes) in &files {
        assert_eq!(
            &std::fs::read(path).expect("a file"),
            bytes,
            "{}",
            path.display()
        );
    }
    assert!(names >= files.len() && !target.exists());
}

#[test]
fn a_book_goes_out_as_an_archive_and_comes_back() {
    let folder = tempfile::tempdir().expect("a folder");
    Served::start(&["--sample", "--data", "data"], folder.path()).end("TERM");
    let out = run(&["export", "book.zip", "--data", "data"], folder.path());
    assert_eq!(out.status.code(), Some(0), "{out:?}");
    assert!(text(&out.stdout).starts_with("book.zip: "));
    let out = run(&["import", "book.zip", "--data", "data"], folder.path());
    assert_eq!(out.status.code(), Some(1), "{out:?}");
    assert!(text(&out.stderr).contains("already"));
    let out = run(&["import", "book.zip", "--data", "again"], folder.path());
    assert_eq!(out.status.code(), Some(0), "{out:?}");
    let out = run(&["check", "--data", "again"], folder.path());
    assert_eq!(out.status.code(), Some(0), "{out:?}");
}

#[test]
fn with_a_certificate_of_its_own_it_speaks_https_and_nothing_else() {
    use ureq::tls::{Certificate, RootCerts, TlsConfig};
    let folder = tempfile::tempdir().expect("a folder");
    let names = vec!["localhost".to_owned(), "127.0.0.1".to_owned()];
    let made = rcgen::generate_simple_self_signed(names).expect("a certificate");
    let other = rcgen::generate_simple_self_signed(vec!["x".to_owned()]).expect("a certificate");
    for (name, text) in [
        ("cert.pem", made.cert.pem()),
        ("key.pem", made.signing_key.serialize_pem()),
        ("other.pem", other.signing_key.serialize_pem()),
        ("text.pem", "no certificate".to_owned()),
    ] {
        std::fs::write(folder.path().join(name), text).expect("a file");
    }
    let with = |cert, key| ["--tls-cert", cert, "--tls-key", key];
    let served = Served::start(&with("cert.pem", "key.pem"), folder.path());
    assert!(served.address.starts_with("https://"), "{}", served.address);
    let root = Certificate::from_pem(made.cert.pem().as_bytes()).expect("PEM");
    let tls = TlsConfig::builder()
        .root_certs(RootCerts::new_with_certs(&[root]))
        .build();
    let agent: ureq::Agent = ureq::Agent::config_builder()
        .tls_config(tls)
        .max_redirects(0)
        .http_status_as_error(false)
        .build()
        .into();
    let page = agent.get(format!("{}/cupboard", served.address)).call();
    assert_eq!(page.expect("an answer").status().as_u16(), 200);
    let sent = agent
        .post(format!("{}/who", served.address))
        .header("origin", &served.address)
        .header("content-type", "application/x-www-form-urlencoded")
        .send("name=Ada&do=choose");
    assert!(sent.expect("an answer").status().is_redirection());
    // Who does not trust the certificate does not get in, and plain http is not spoken.
    let stranger: ureq::Agent = ureq::Agent::config_builder().build().into();
    assert!(stranger.get(format!("{}/", served.address)).call().is_err());
    let plain = served.address.replace("https://", "http://");
    assert!(stranger.get(format!("{plain}/")).call().is_err());
    assert_eq!(served.end("TERM").0, Some(0));

    for (cert, key) in [
        ("cert.pem", "other.pem"),
        ("text.pem", "key.pem"),
        ("none.pem", "key.pem"),
    ] {
        let mut args = vec!["serve", "--listen", "127.0.0.1:0"];
        args.extend(with(cert, key));
        let out = run(&args, folder.path());
        assert_eq!(out.status.code(), Some(1), "{cert} {key}");
        let said = text(&out.stderr);
        assert!(
            said.contains("cannot be used") && said.contains("Nothing was started"),
            "{said}"
        );
    }
    let out = run(&["serve", "--tls-cert", "cert.pem"], folder.path());
    assert_eq!(out.status.code(), Some(2));
}
