//! One typed link per page. Templates and redirects use nothing else.

use std::{fmt, future::Future};

use axum::http::{HeaderMap, header};
use percent_encoding::{AsciiSet, NON_ALPHANUMERIC, utf8_percent_encode};

use crate::model::{
    id::{
        BarId, DesignId, ExtraId, FrameId, MovementId, OfferId, PartId, PlaceId, PurchaseId,
        PurchaseLineId, StepId, SupplierId, ThingId,
    },
    part::Kind,
};

/// All but what stands for itself in any part of an address (RFC 3986, section 2.3).
const RESERVED: &AsciiSet = &NON_ALPHANUMERIC
    .remove(b'-')
    .remove(b'.')
    .remove(b'_')
    .remove(b'~');

/// A page or an action of ours.
#[derive(Debug, Clone, PartialEq, Eq)]
#[expect(
    missing_docs,
    reason = "each is named as its page; the path stands in Display"
)]
pub enum Link {
    Home,
    /// One's own book, from the sample too.
    Own,
    /// The worked sample's book.
    Sample,
    /// Opens the sample, or clears it away.
    SampleBook,
    /// The first hour: three questions.
    Start,
    StartUnits,
    StartTape,
    StartHave,
    Search(String),
    /// The sign-in, and where it leads.
    SignIn(String),
    SignOut,
    /// An invitation, by what stands in its link.
    Join(String),
    WhoPassword,
    WhoPin,
    WhoBench,
    WhoTake,
    Changes,
    CalendarFeed,
    Events,
    Asset(&'static str, String),

    Cupboard,
    CupboardKind(&'static str),
    PartNew(&'static str),
    Part(PartId),
    PartEdit(PartId),
    PartCopy(PartId),
    PartRetire(PartId),
    PartDelete(PartId),
    PartReceive(PartId),
    PartCount(PartId),
    ReadyMade,
    TakeIn,
    /// Prices of one supplier: of every part without one, or of what is short.
    Prices(bool),

    Thing(ThingId),
    ThingTag(String),
    ThingCut(ThingId),
    ThingMove(ThingId),
    ThingOut(ThingId),
    ThingMark(ThingId),
    ThingMount(ThingId),
    ThingLend(ThingId),
    ThingGiveBack(ThingId),
    ThingEdit(ThingId),
    ThingSwap(ThingId),
    ThingInto(ThingId),
    ThingApart(ThingId),
    Repairs,
    Fixtures,
    FixtureNew,
    FrameNew,
    Labels,
    LabelPapers,
    Places,
    Place(PlaceId),
    PlaceEdit(PlaceId),
    PlaceRetire(PlaceId),
    PlaceCount(PlaceId),

    Designs,
    DesignNew,
    Design(DesignId),
    DesignEdit(DesignId),
    DesignCopy(DesignId),
    DesignDates(DesignId),
    DesignState(DesignId),
    DesignReserve(DesignId),
    Bars(DesignId),
    /// A bar's row on the page of all bars.
    BarRow(DesignId, BarId),
    BarsAdd(DesignId),
    BarsArrange(DesignId),
    BarsUndo(DesignId),
    Backdrop(DesignId, String),
    Lit(DesignId),
    BackdropAdd(DesignId),
    BackdropPlace(DesignId),
    BackdropScale(DesignId),
    BackdropRemove(DesignId),
    Bar(DesignId, BarId),
    BarRemove(DesignId, BarId),
    FrameAdd(DesignId),
    Frame(DesignId, FrameId),
    FrameRemove(DesignId, FrameId),
    ExtraAdd(DesignId),
    ExtraRemove(DesignId, ExtraId),
    Reuse(DesignId),
    ReusePick(DesignId),
    ReuseWhy(DesignId, BarId),
    Pins(DesignId),
    Suits(DesignId, Kind),
    Cuts(DesignId),
    CutsWhy(DesignId, ThingId),
    Wiring(DesignId),
    Power(DesignId),
    Addresses(DesignId),
    AddressesFile(DesignId),
    Checks(DesignId),
    CheckReason(DesignId),
    Short(DesignId),
    DesignShopping(DesignId),
    ShoppingWhy(DesignId, OfferId),
    Build(DesignId),
    BuildStep(DesignId, StepId),
    Strike(DesignId),
    StrikeLine(DesignId),
    StrikeRest(DesignId),
    ShowDay(DesignId),
    Sheets(DesignId),
    Sheet(DesignId, &'static str),
    PrintAsk(DesignId),
    Print(DesignId, String),

    Shopping,
    ShoppingOrder,
    Purchase(PurchaseId),
    PurchaseState(PurchaseId),
    PurchaseReceive(PurchaseId, PurchaseLineId),
    PurchaseReceiveAll(PurchaseId),
    Suppliers,
    Supplier(SupplierId),
    SupplierNew,
    OfferNew(PartId),
    Offer(OfferId),

    Calendar,
    Log,
    LogUndo(MovementId),
    Bench,
    BenchCuts,
    BenchPacks,
    BenchFeeds,
    BenchDrop,
    BenchAddresses,
    BenchWires,
    Csv,
    CsvDo,
    CsvParts,
    CsvStock,
    Settings,
    People,
    Who,
    Backup,
    BackupFile(String),
    BackupImport,
    ApiDocument,
    /// A letter in the reader's own mail program: its subject, its text.
    Mail(String, String),
    /// The page that a form was sent from; made by [`Link::back`].
    Back(String),
    /// Another link with a query behind it; made by [`Link::with`].
    With(Box<Self>, String),
}

impl Link {
    /// The page of ours that a form was sent from, if the browser says so.
    pub fn back(headers: &HeaderMap) -> Option<Self> {
        let from = headers.get(header::REFERER)?.to_str().ok()?;
        let (_, rest) = from.split_once("://")?;
        let path = &rest[rest.find('/')?..];
        // Two slashes or a backslash at its start would name another host.
        (!path.starts_with("//") && !path.contains('\\')).then(|| Self::Back(path.to_owned()))
    }

    /// The link with these fields in its query; empty ones are left out.
    pub fn with<'a>(self, fields: impl IntoIterator<Item = (&'a str, String)>) -> Self {
        let query = fields
            .into_iter()
            .filter(|(_, value)| !value.is_empty())
            .map(|(name, value)| format!("{name}={}", utf8_percent_encode(&value, RESERVED)))
            .collect::<Vec<_>>()
            .join("&");
        if query.is_empty() {
            self
        } else {
            Self::With(Box::new(self), query)
        }
    }
}

tokio::task_local! {
    static UNDER: &'static str;
}

/// Does some work whose links lead to the book under this path, such as `/sample`.
pub async fn under<T>(path: &'static str, work: impl Future<Output = T>) -> T {
    UNDER.scope(path, work).await
}

/// The path of the book that this request is answered from: empty for one's own.
pub fn book() -> &'static str {
    UNDER.try_with(|path| *path).unwrap_or_default()
}

impl fmt::Display for Link {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            // The same for every book, or whole already.
            Self::Asset(..)
            | Self::Own
            | Self::Sample
            | Self::SampleBook
            | Self::Mail(..)
            | Self::Back(_) => {}
            Self::With(link, query) => return write!(f, "{link}?{query}"),
            _ => f.write_str(book())?,
        }
        self.write(f)
    }
}

impl Link {
    /// The path within its book.
    fn write(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Home | Self::Own => f.write_str("/"),
            Self::Sample => f.write_str("/sample/"),
            Self::SampleBook => f.write_str("/sample-book"),
            Self::Start => f.write_str("/start"),
            Self::StartUnits => f.write_str("/start/units"),
            Self::StartTape => f.write_str("/start/tape"),
            Self::StartHave => f.write_str("/take-in?start=yes"),
            Self::Search(text) => {
                if text.is_empty() {
                    f.write_str("/search")
                } else {
                    write!(f, "/search?q={}", utf8_percent_encode(text, RESERVED))
                }
            }
            Self::SignIn(to) if to.is_empty() => f.write_str("/sign-in"),
            Self::SignIn(to) => write!(f, "/sign-in?to={}", utf8_percent_encode(to, RESERVED)),
            Self::SignOut => f.write_str("/sign-out"),
            Self::Join(link) => write!(f, "/join/{}", utf8_percent_encode(link, RESERVED)),
            Self::WhoPassword => f.write_str("/who/password"),
            Self::WhoPin => f.write_str("/who/pin"),
            Self::WhoBench => f.write_str("/who/bench"),
            Self::WhoTake => f.write_str("/who/take"),
            Self::Events => f.write_str("/events"),
            Self::CalendarFeed => f.write_str("/calendar.ics"),
            Self::Changes => f.write_str("/changes"),
            Self::Asset(name, hash) => write!(f, "/static/{hash}/{name}"),

            Self::Cupboard => f.write_str("/cupboard"),
            Self::CupboardKind(kind) => write!(f, "/cupboard?kind={kind}"),
            Self::PartNew(kind) => write!(f, "/parts/new?kind={kind}"),
            Self::Part(id) => write!(f, "/parts/{id}"),
            Self::PartEdit(id) => write!(f, "/parts/{id}/edit"),
            Self::PartCopy(id) => write!(f, "/parts/{id}/copy"),
            Self::PartRetire(id) => write!(f, "/parts/{id}/retire"),
            Self::PartDelete(id) => write!(f, "/parts/{id}/delete"),
            Self::PartReceive(id) => write!(f, "/parts/{id}/receive"),
            Self::PartCount(id) => write!(f, "/parts/{id}/count"),
            Self::TakeIn => f.write_str("/take-in"),
            Self::Prices(true) => f.write_str("/prices?of=all"),
            Self::Prices(false) => f.write_str("/prices"),
            Self::ReadyMade => f.write_str("/parts/ready-made"),

            Self::Thing(id) => write!(f, "/things/{id}"),
            Self::ThingTag(tag) => write!(f, "/tag/{}", utf8_percent_encode(tag, RESERVED)),
            Self::ThingCut(id) => write!(f, "/things/{id}/cut"),
            Self::ThingMove(id) => write!(f, "/things/{id}/move"),
            Self::ThingOut(id) => write!(f, "/things/{id}/out"),
            Self::ThingMark(id) => write!(f, "/things/{id}/mark"),
            Self::ThingMount(id) => write!(f, "/things/{id}/mount"),
            Self::ThingLend(id) => write!(f, "/things/{id}/lend"),
            Self::ThingGiveBack(id) => write!(f, "/things/{id}/give-back"),
            Self::ThingEdit(id) => write!(f, "/things/{id}/edit"),
            Self::ThingSwap(id) => write!(f, "/things/{id}/swap"),
            Self::ThingInto(id) => write!(f, "/things/{id}/into"),
            Self::ThingApart(id) => write!(f, "/things/{id}/apart"),
            Self::Repairs => f.write_str("/repairs"),
            Self::Fixtures => f.write_str("/fixtures"),
            Self::FixtureNew => f.write_str("/fixtures/new"),
            Self::FrameNew => f.write_str("/frames/new"),
            Self::Labels => f.write_str("/labels"),
            Self::LabelPapers => f.write_str("/labels/papers"),
            Self::Places => f.write_str("/places"),
            Self::Place(id) => write!(f, "/places/{id}"),
            Self::PlaceEdit(id) => write!(f, "/places/{id}/edit"),
            Self::PlaceRetire(id) => write!(f, "/places/{id}/retire"),
            Self::PlaceCount(id) => write!(f, "/places/{id}/count"),

            Self::Designs => f.write_str("/designs"),
            Self::DesignNew => f.write_str("/designs/new"),
            Self::Design(id) => write!(f, "/designs/{id}"),
            Self::DesignEdit(id) => write!(f, "/designs/{id}/edit"),
            Self::DesignCopy(id) => write!(f, "/designs/{id}/copy"),
            Self::DesignDates(id) => write!(f, "/designs/{id}/dates"),
            Self::DesignState(id) => write!(f, "/designs/{id}/state"),
            Self::DesignReserve(id) => write!(f, "/designs/{id}/reserve"),
            Self::Bars(id) => write!(f, "/designs/{id}/bars"),
            Self::BarRow(id, bar) => write!(f, "/designs/{id}/bars#bar-{bar}"),
            Self::BarsAdd(id) => write!(f, "/designs/{id}/bars/add"),
            Self::BarsUndo(id) => write!(f, "/designs/{id}/bars/undo"),
            Self::BarsArrange(id) => write!(f, "/designs/{id}/bars/arrange"),
            Self::Backdrop(id, digest) => write!(
                f,
                "/designs/{id}/backdrop/{}",
                utf8_percent_encode(digest, RESERVED)
            ),
            Self::Lit(id) => write!(f, "/designs/{id}/lit"),
            Self::BackdropAdd(id) => write!(f, "/designs/{id}/backdrop"),
            Self::BackdropPlace(id) => write!(f, "/designs/{id}/backdrop/place"),
            Self::BackdropScale(id) => write!(f, "/designs/{id}/backdrop/scale"),
            Self::BackdropRemove(id) => write!(f, "/designs/{id}/backdrop/remove"),
            Self::Bar(id, bar) => write!(f, "/designs/{id}/bars/{bar}"),
            Self::BarRemove(id, bar) => write!(f, "/designs/{id}/bars/{bar}/remove"),
            Self::FrameAdd(id) => write!(f, "/designs/{id}/frames/add"),
            Self::Frame(id, frame) => write!(f, "/designs/{id}/frames/{frame}"),
            Self::FrameRemove(id, frame) => write!(f, "/designs/{id}/frames/{frame}/remove"),
            Self::ExtraAdd(id) => write!(f, "/designs/{id}/extras/add"),
            Self::ExtraRemove(id, extra) => write!(f, "/designs/{id}/extras/{extra}/remove"),
            Self::Reuse(id) => write!(f, "/designs/{id}/reuse"),
            Self::ReusePick(id) => write!(f, "/designs/{id}/reuse/pick"),
            Self::ReuseWhy(id, bar) => write!(f, "/designs/{id}/reuse/why/{bar}"),
            Self::Pins(id) => write!(f, "/designs/{id}/pins"),
            Self::Suits(id, kind) => write!(f, "/designs/{id}/suits?of={}", kind.word()),
            Self::Cuts(id) => write!(f, "/designs/{id}/cuts"),
            Self::CutsWhy(id, thing) => write!(f, "/designs/{id}/cuts/why/{thing}"),
            Self::Wiring(id) => write!(f, "/designs/{id}/wiring"),
            Self::Power(id) => write!(f, "/designs/{id}/power"),
            Self::Addresses(id) => write!(f, "/designs/{id}/addresses"),
            Self::AddressesFile(id) => write!(f, "/designs/{id}/addresses.csv"),
            Self::Checks(id) => write!(f, "/designs/{id}/checks"),
            Self::CheckReason(id) => write!(f, "/designs/{id}/checks/reason"),
            Self::Short(id) => write!(f, "/designs/{id}/shortfall"),
            Self::DesignShopping(id) => write!(f, "/designs/{id}/shopping"),
            Self::ShoppingWhy(id, offer) => write!(f, "/designs/{id}/shopping/why/{offer}"),
            Self::Build(id) => write!(f, "/designs/{id}/build"),
            Self::BuildStep(id, step) => write!(f, "/designs/{id}/build/{step}"),
            Self::Strike(id) => write!(f, "/designs/{id}/strike"),
            Self::StrikeLine(id) => write!(f, "/designs/{id}/strike/line"),
            Self::StrikeRest(id) => write!(f, "/designs/{id}/strike/rest"),
            Self::ShowDay(id) => write!(f, "/designs/{id}/show-day"),
            Self::Sheets(id) => write!(f, "/designs/{id}/sheets"),
            Self::PrintAsk(id) => write!(f, "/designs/{id}/print"),
            Self::Print(id, mark) => {
                write!(
                    f,
                    "/designs/{id}/print/{}",
                    utf8_percent_encode(mark, RESERVED)
                )
            }
            Self::Sheet(id, sheet) => write!(f, "/designs/{id}/sheets/{sheet}"),

            Self::Shopping => f.write_str("/shopping"),
            Self::ShoppingOrder => f.write_str("/shopping/order"),
            Self::Purchase(id) => write!(f, "/shopping/{id}"),
            Self::PurchaseState(id) => write!(f, "/shopping/{id}/state"),
            Self::PurchaseReceive(id, line) => write!(f, "/shopping/{id}/receive/{line}"),
            Self::PurchaseReceiveAll(id) => write!(f, "/shopping/{id}/receive"),
            Self::Suppliers => f.write_str("/suppliers"),
            Self::Supplier(id) => write!(f, "/suppliers/{id}"),
            Self::SupplierNew => f.write_str("/suppliers/new"),
            Self::OfferNew(id) => write!(f, "/parts/{id}/offers/new"),
            Self::Offer(id) => write!(f, "/offers/{id}"),

            Self::Calendar => f.write_str("/calendar"),
            Self::Log => f.write_str("/log"),
            Self::LogUndo(id) => write!(f, "/log/{id}/undo"),
            Self::Bench => f.write_str("/bench"),
            Self::BenchCuts => f.write_str("/bench/cuts"),
            Self::BenchPacks => f.write_str("/bench/packs"),
            Self::BenchFeeds => f.write_str("/bench/feeds"),
            Self::BenchDrop => f.write_str("/bench/drop"),
            Self::BenchAddresses => f.write_str("/bench/addresses"),
            Self::BenchWires => f.write_str("/bench/wires"),
            Self::Csv => f.write_str("/csv"),
            Self::CsvDo => f.write_str("/csv/do"),
            Self::CsvParts => f.write_str("/csv/parts.csv"),
            Self::CsvStock => f.write_str("/csv/stock.csv"),
            Self::Settings => f.write_str("/settings"),
            Self::People => f.write_str("/settings/people"),
            Self::Who => f.write_str("/who"),
            Self::Backup => f.write_str("/settings/backup"),
            Self::BackupImport => f.write_str("/settings/backup/import"),
            Self::BackupFile(name) => write!(f, "/settings/backup/{name}"),
            Self::ApiDocument => f.write_str("/api/v1/openapi.json"),
            Self::Mail(subject, text) => write!(
                f,
                "mailto:?subject={}&body={}",
                utf8_percent_encode(subject, RESERVED),
                // Lines end so in mail addresses (RFC 6068, section 5).
                utf8_percent_encode(&text.replace('\n', "\r\n"), RESERVED)
            ),
            Self::Back(path) => f.write_str(path),
            Self::With(link, query) => write!(f, "{link}?{query}"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_way_back_stays_on_this_service() {
        let back = |from: &str| {
            let mut headers = HeaderMap::new();
            headers.insert(header::REFERER, from.parse().unwrap());
            Link::back(&headers).map(|link| link.to_string())
        };
        assert_eq!(
            back("http://127.0.0.1:8470/things/3?x=1").as_deref(),
            Some("/things/3?x=1")
        );
        for other in [
            "http://a//b.test/",
            "http://a/\\b.test",
            "about:blank",
            "http://a",
        ] {
            assert_eq!(back(other), None, "{other}");
        }
    }

    #[tokio::test]
    async fn links_of_another_book_stay_in_it() {
        let text = |link: &Link| link.to_string();
        assert_eq!(text(&Link::Shopping), "/shopping");
        under("/sample", async {
            assert_eq!(text(&Link::Home), "/sample/");
            let found = Link::Log.with([("who", "Ada".to_owned())]);
            assert_eq!(text(&found), "/sample/log?who=Ada");
            assert_eq!(text(&Link::Back("/sample/log".to_owned())), "/sample/log");
            assert_eq!(text(&Link::Own), "/");
            assert_eq!(
                text(&Link::Asset("style.css", "1f".to_owned())),
                "/static/1f/style.css"
            );
        })
        .await;
        assert_eq!(text(&Link::Home), "/");
    }

    #[tokio::test]
    async fn a_letter_says_the_same_in_every_book() {
        let letter = Link::Mail("Order 3 & more".to_owned(), "2 × 5 m\n+ 10 %\n".to_owned());
        let text = "mailto:?subject=Order%203%20%26%20more\
                    &body=2%20%C3%97%205%20m%0D%0A%2B%2010%20%25%0D%0A";
        assert_eq!(letter.to_string(), text);
        assert_eq!(under("/sample", async { letter.to_string() }).await, text);
    }

    #[test]
    fn empty_fields_are_left_out_of_a_query() {
        let link = Link::Cupboard.with([("q", "12 V".to_owned()), ("kind", String::new())]);
        assert_eq!(link.to_string(), "/cupboard?q=12%20V");
        assert_eq!(Link::Log.with([("who", String::new())]).to_string(), "/log");
    }
}
