//! What the database refuses, translated once: rule names into refusals, the rest into troubles.

/// A rule of the schema that an attempted change would have broken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Refusal {
    /// More was taken from a place than lies there.
    NotEnoughThere,
    /// The thing is no longer where the change takes it from.
    ThingNotThere,
    /// A piece moves whole.
    PieceMovesWhole,
    /// A part kept by length or by unit moves as a thing, not as a count.
    NeedsItsThing,
    /// The thing is already held for another set on one of the days.
    HeldAlready,
    /// What should be held is not in the house, or is shorter.
    NotThereToHold,
    /// The ledger is append-only, or is the only way to move a thing.
    LedgerOnly,
    /// The part is in use.
    PartInUse,
    /// The part has stock, so its unit can't change.
    PartUnitKept,
    /// The place is not empty.
    PlaceInUse,
    /// A place can't lie in itself.
    PlaceInItself,
    /// Only rolls, offcuts and fixtures are left alone.
    NotToLeaveAlone,
    /// Only a fixture serves a bar.
    NotAFixture,
    /// The design can't go to that state.
    NoSuchStep,
    /// The movement has been undone already.
    UndoneAlready,
    /// A name or tag that is there already, as `table.column`.
    Taken(&'static str),
    /// It is still referred to.
    StillReferred,
    /// A named CHECK, by its name.
    Check(&'static str),
}

/// What can go wrong with the database.
#[derive(Debug, thiserror::Error)]
pub enum DbError {
    /// A rule refused the change; nothing of it was kept.
    #[error("{}", .0.sentence())]
    Refused(Refusal),
    /// Another program or a long write holds the database.
    #[error("The database is busy. Nothing was changed; try again in a moment.")]
    Busy,
    /// The disk is full.
    #[error("The disk is full. Nothing was changed; make room and try again.")]
    Full,
    /// The file or folder cannot be written.
    #[error(
        "The database cannot be written: the file, its folder or the disk is read-only. Nothing was changed."
    )]
    ReadOnly,
    /// What is stored cannot be read as what it should be.
    #[error(
        "Something stored cannot be read ({0}). Nothing was changed. Run the check command, and restore a backup into another folder if it finds faults."
    )]
    Unreadable(String),
    /// Anything else.
    #[error("The database failed. Nothing was changed.")]
    Other(#[source] sqlx::Error),
}

impl Refusal {
    /// The sentence for people.
    pub const fn sentence(self) -> &'static str {
        match self {
            Self::NotEnoughThere => {
                "There is not that much in that place. Nothing was moved. Count the place, or take less."
            }
            Self::ThingNotThere => {
                "It is no longer where this page showed it. Nothing was moved. Load the page again to see where it is now."
            }
            Self::PieceMovesWhole => "A piece moves whole. Nothing was moved. Cut it first.",
            Self::NeedsItsThing => {
                "This part is kept piece by piece or with tags. Nothing was moved. Say which piece or unit."
            }
            Self::HeldAlready => "Another set holds it on one of these days. Nothing was held.",
            Self::NotThereToHold => {
                "It is no longer there, or shorter than the plan says. Nothing was held."
            }
            Self::LedgerOnly => {
                "The ledger is only added to. Nothing was changed. Undo by a counter-movement."
            }
            Self::PartInUse => {
                "This part is in use and cannot be deleted. Nothing was changed. Retire it instead."
            }
            Self::PartUnitKept => {
                "There is stock of this part in its present unit. Nothing was changed. Copy the part and change the copy."
            }
            Self::PlaceInUse => {
                "This place is not empty. Nothing was changed. Move what lies there first."
            }
            Self::PlaceInItself => "A place cannot lie inside itself. Nothing was changed.",
            Self::NotToLeaveAlone => {
                "Only a roll, an offcut or a fixture can be left alone. Nothing was changed."
            }
            Self::NotAFixture => {
                "Only a finished fixture can be chosen for a bar. Nothing was changed."
            }
            Self::NoSuchStep => {
                "The set cannot go to that state from where it is now. Nothing was changed. Load the page again."
            }
            Self::UndoneAlready => "This was undone already. Nothing was changed.",
            Self::Taken(_) => "That name is taken. Nothing was changed. Choose another.",
            Self::StillReferred => {
                "Something else still refers to it, or what it refers to is gone. Nothing was changed."
            }
            Self::Check(_) => "A value is outside of its limits. Nothing was changed.",
        }
    }
}

/// Uniqueness as SQLite names it.
const UNIQUES: &[&str] = &[
    "part.name",
    "part.ready_made",
    "place_name_in_parent",
    "supplier.name",
    "design.name",
    "person.name",
    "thing.tag",
    "bar.design_id, bar.label",
    "design_frame.design_id, design_frame.label",
    "press.key",
];

impl DbError {
    /// The same once more, for another who is to be told.
    pub(super) fn again(&self) -> Self {
        match self {
            Self::Refused(refusal) => Self::Refused(*refusal),
            Self::Busy => Self::Busy,
            Self::Full => Self::Full,
            Self::ReadOnly => Self::ReadOnly,
            Self::Unreadable(what) => Self::Unreadable(what.clone()),
            Self::Other(why) => Self::Other(sqlx::Error::Protocol(why.to_string())),
        }
    }
}

impl From<sqlx::Error> for DbError {
    fn from(error: sqlx::Error) -> Self {
        match error {
            sqlx::Error::Database(ref database) => {
                let code = database
                    .code()
                    .and_then(|code| code.parse::<i32>().ok())
                    .unwrap_or(0);
                match code & 0xff {
                    5 | 6 => Self::Busy,
                    8 | 14 => Self::ReadOnly,
                    13 => Self::Full,
                    19 => Self::Refused(refused(database.message())),
                    _ => Self::Other(error),
                }
            }
            sqlx::Error::PoolTimedOut => Self::Busy,
            sqlx::Error::ColumnDecode { index, source } => {
                Self::Unreadable(format!("column {index}: {source}"))
            }
            error => Self::Other(error),
        }
    }
}

fn refused(message: &str) -> Refusal {
    let rules = [
        ("balance_not_negative", Refusal::NotEnoughThere),
        ("thing_not_there", Refusal::ThingNotThere),
        ("piece_moves_whole", Refusal::PieceMovesWhole),
        ("line_needs_its_thing", Refusal::NeedsItsThing),
        ("line_thing_of_its_part", Refusal::NeedsItsThing),
        ("hold_one_at_a_time", Refusal::HeldAlready),
        ("hold_what_is_there", Refusal::NotThereToHold),
        ("ledger_is_append_only", Refusal::LedgerOnly),
        ("test_record_is_append_only", Refusal::LedgerOnly),
        ("change_is_append_only", Refusal::LedgerOnly),
        ("thing_moves_by_ledger", Refusal::LedgerOnly),
        ("piece_amount_is_kept", Refusal::LedgerOnly),
        ("part_in_use_is_kept", Refusal::PartInUse),
        ("part_unit_is_kept", Refusal::PartUnitKept),
        ("place_in_use_is_kept", Refusal::PlaceInUse),
        ("place_not_in_itself", Refusal::PlaceInItself),
        ("left_alone_is_piece_or_fixture", Refusal::NotToLeaveAlone),
        ("bar_takes_a_fixture", Refusal::NotAFixture),
        ("design_state_step", Refusal::NoSuchStep),
        ("movement.undoes_id", Refusal::UndoneAlready),
    ];
    if let Some((_, refusal)) = rules.iter().find(|(rule, _)| message.contains(rule)) {
        return *refusal;
    }
    if message.contains("UNIQUE constraint failed") {
        return Refusal::Taken(
            UNIQUES
                .iter()
                .find(|unique| message.contains(*unique))
                .copied()
                .unwrap_or("name"),
        );
    }
    if message.contains("FOREIGN KEY") {
        return Refusal::StillReferred;
    }
    Refusal::Check("value")
}

/// Reads a stored text as what it should be.
pub(super) fn read<T>(what: &str, result: Result<T, impl std::fmt::Display>) -> Result<T, DbError> {
    result.map_err(|why| DbError::Unreadable(format!("{what}: {why}")))
}
