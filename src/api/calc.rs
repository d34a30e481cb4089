//! The calculators: a document in, a document out; nothing is read or kept.

use serde::{Serialize, de::DeserializeOwned};
use utoipa::ToSchema;
use utoipa_axum::{router::OpenApiRouter, routes};

use super::json::{Answer, Body, reply};
use crate::{
    app::App,
    calc::{
        Elapsed, Refused,
        addresses::{self, AddressesAnswer, AddressesBody},
        cuts::{self, CutsAnswer, CutsBody},
        drop::{self, DropAnswer, DropBody},
        feeds::{self, FeedsAnswer, FeedsBody},
        packs::{self, PacksAnswer, PacksBody},
        wires::{self, WiresAnswer, WiresBody},
    },
    clock::Watch,
    stock::{StockError, desk},
};

/// The routes of this subject.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new()
        .routes(routes!(cut))
        .routes(routes!(drop_along))
        .routes(routes!(buy))
        .routes(routes!(feed))
        .routes(routes!(addresses_of))
        .routes(routes!(wires_of))
}

/// Calculates away from what serves pages.
async fn calculate<Q, A>(
    body: Body<Q>,
    answer: impl FnOnce(&Q, Elapsed<'_>) -> Result<A, Refused> + Send + 'static,
) -> Answer
where
    Q: DeserializeOwned + ToSchema + Send + 'static,
    A: Serialize + Send + 'static,
{
    let answered = desk::work(move |wanted| {
        let watch = Watch::start();
        answer(&body.value, &|| wanted.so_far(watch.elapsed()))
    });
    reply(&answered.await.map_err(StockError::from)??)
}

/// How to cut bars from pieces on hand and rolls to buy: fewest bars short, then least money, then
/// least soldering, then the most useful rest, each with what is proven of it.
#[utoipa::path(post, path = "/calc/cuts", request_body = CutsBody,
    responses((status = 200, description = "How to cut", body = CutsAnswer)))]
async fn cut(body: Body<CutsBody>) -> Answer {
    calculate(body, cuts::answer).await
}

/// What a circuit of supply, cables, driver and bars carries, solved as a network: volts, currents
/// and light at the best and the worst cut unit, for the channels that are on.
#[utoipa::path(post, path = "/calc/drop", request_body = DropBody,
    responses((status = 200, description = "What the circuit carries", body = DropAnswer)))]
async fn drop_along(body: Body<DropBody>) -> Answer {
    calculate(body, |asked, _| drop::answer(asked)).await
}

/// What to buy in which packs, and where: the least money for everything wanted, deliveries
/// included, or the fewest parcels, with what is proven of it and what other ways would cost.
#[utoipa::path(post, path = "/calc/packs", request_body = PacksBody,
    responses((status = 200, description = "What to buy", body = PacksAnswer)))]
async fn buy(body: Body<PacksBody>) -> Answer {
    calculate(body, |asked, _| packs::answer(asked)).await
}

/// Which load hangs on which driver output, and which inlet on which supply: fewest loads short, then
/// least money, fewest units bought, shortest cable, fewest units taken and most even loads, each with
/// what is proven of it.
#[utoipa::path(post, path = "/calc/feeds", request_body = FeedsBody,
    responses((status = 200, description = "What feeds what", body = FeedsAnswer)))]
async fn feed(body: Body<FeedsBody>) -> Answer {
    calculate(body, feeds::answer).await
}

/// DMX512 start addresses of drivers round slots that are taken, with what their switches show and
/// what data lines they need.
#[utoipa::path(post, path = "/calc/addresses", request_body = AddressesBody,
    responses((status = 200, description = "Addresses given out", body = AddressesAnswer)))]
async fn addresses_of(body: Body<AddressesBody>) -> Answer {
    calculate(body, |asked, _| addresses::answer(asked)).await
}

/// Whether every wire reaches its own from terminal to pad, and where the fewest cross if not: at the
/// same kind of joint on every chain.
#[utoipa::path(post, path = "/calc/wires", request_body = WiresBody,
    responses((status = 200, description = "What goes where", body = WiresAnswer)))]
async fn wires_of(body: Body<WiresBody>) -> Answer {
    calculate(body, |asked, _| wires::answer(asked)).await
}
