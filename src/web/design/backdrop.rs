//! The picture under the elevation: chosen, laid, scaled by two points, taken away.

use axum::{
    extract::{FromRequest, Multipart, Request},
    http::{StatusCode, header},
    response::{IntoResponse as _, Response},
};
use sha2::{Digest as _, Sha256};
use tokio::sync::Semaphore;

use super::{
    bars::{Refused, show},
    load,
};
use crate::{
    db::{self, backdrop::Backdrop},
    draw::elevation::DrawnPicture,
    model::{
        arrange::bounds_of,
        design::Design,
        id::DesignId,
        picture::{
            Lie, PICTURE_BYTES, PictureError, TwoPoints,
            pixels::{Clean, clean},
        },
    },
    stock::{self, StockError},
    units::{Length, SignedLength},
    web::{
        at::Path,
        cx::Cx,
        error::{Answer, Trouble},
        form::{Choice, Form},
        link::Link,
        page::{Flash, go_with, hex},
    },
};

/// The most that a form with a picture carries. More than a picture may have: one that is too large
/// arrives whole all the same, and is refused by a sentence instead of a connection cut while it is
/// sent.
pub const BODY_LIMIT: usize = 4 * PICTURE_BYTES;

/// How strongly a picture may show, in percent.
const OPACITIES: [i64; 5] = [20, 40, 60, 80, 100];
const USUAL_OPACITY: i64 = 40;

/// What the page shows of the picture.
#[derive(Debug, Clone)]
pub struct Laid {
    /// What was typed.
    pub form: Form,
    /// How strongly it may show.
    pub opacity: Vec<Choice>,
    /// Its size in words, if there is one.
    pub size: Option<String>,
    /// Whether the forms are shown open.
    pub open: bool,
}

impl Laid {
    /// The forms as they were typed, or as the picture lies.
    pub fn new(cx: &Cx, picture: Option<&Backdrop>, typed: Option<Form>) -> Self {
        let open = typed.is_some();
        let mut form = typed.unwrap_or_default();
        if let Some(picture) = picture {
            let unit = cx.unit();
            form.fill(&[
                ("x", &picture.lie.x_um.say(unit)),
                ("y", &picture.lie.y_um.say(unit)),
                ("width", &picture.lie.width_um.say(unit)),
                ("opacity", &picture.opacity.to_string()),
            ]);
            if !open && picture.print {
                form.set("print", "on");
            }
        }
        Self {
            opacity: Choice::list(
                OPACITIES
                    .iter()
                    .map(|percent| (percent, format!("{percent} %"))),
                form.value("opacity"),
            ),
            size: picture.map(|it| {
                let looks = it.looks;
                format!(
                    "{}, {} × {} pixels",
                    looks.kind, looks.width_px, looks.height_px
                )
            }),
            open,
            form,
        }
    }
}

/// A picture as it is drawn.
pub fn drawn(id: DesignId, picture: &Backdrop) -> DrawnPicture {
    DrawnPicture {
        href: Link::Backdrop(id, picture.digest.clone()).to_string(),
        x_um: picture.lie.x_um.get(),
        y_um: picture.lie.y_um.get(),
        width_um: picture.lie.width_um.get(),
        height_um: picture.looks.height_um(picture.lie.width_um),
        opacity: picture.opacity,
        print: picture.print,
    }
}

/// GET: the picture itself. Its address changes with it.
pub async fn get(cx: Cx, Path((id, digest)): Path<(DesignId, String)>) -> Answer {
    let found = db::backdrop::lookup_bytes(&mut *cx.read().await?, id, &digest).await?;
    let (kind, bytes) = found.ok_or_else(|| Trouble::not_found("picture"))?;
    let headers = [
        (header::CONTENT_TYPE, kind.media_type()),
        (
            header::CACHE_CONTROL,
            "private, max-age=31536000, immutable",
        ),
    ];
    Ok((headers, bytes).into_response())
}

/// A form with a picture.
pub struct Sent {
    form: Form,
    file: Vec<u8>,
}

fn broken(status: StatusCode) -> Trouble {
    if status == StatusCode::PAYLOAD_TOO_LARGE {
        Trouble::new(
            status,
            format!(
                "A picture of at most {} MiB is taken. Nothing was changed. Save it smaller and \
                 choose that.",
                PICTURE_BYTES / (1024 * 1024)
            ),
        )
    } else {
        Trouble::new(
            StatusCode::BAD_REQUEST,
            "The picture did not arrive whole. Nothing was changed; choose it again.",
        )
    }
}

impl<S: Send + Sync> FromRequest<S> for Sent {
    type Rejection = Trouble;

    async fn from_request(request: Request, state: &S) -> Result<Self, Trouble> {
        let Ok(mut parts) = Multipart::from_request(request, state).await else {
            return Err(Trouble::new(
                StatusCode::UNSUPPORTED_MEDIA_TYPE,
                "A picture is sent by the form of its page. Nothing was changed.",
            ));
        };
        let (mut fields, mut file) = (Vec::new(), Vec::new());
        while let Some(field) = parts
            .next_field()
            .await
            .map_err(|why| broken(why.status()))?
        {
            let name = field.name().unwrap_or_default().to_owned();
            let bytes = field.bytes().await.map_err(|why| broken(why.status()))?;
            if name == "picture" {
                file = bytes.to_vec();
            } else {
                let text = String::from_utf8(bytes.to_vec());
                fields.push((name, text.map_err(|_| broken(StatusCode::BAD_REQUEST))?));
            }
        }
        Ok(Self {
            form: Form::filled(fields),
            file,
        })
    }
}

/// Opening a picture takes much memory: one at a time.
static OPENING: Semaphore = Semaphore::const_new(1);

/// The pixels of what was sent, worked out away from what serves requests.
async fn cleaned(file: Vec<u8>) -> Result<Clean, PictureError> {
    let turn = OPENING.acquire().await;
    let work = tokio::task::spawn_blocking(move || {
        let _turn = turn;
        clean(&file)
    });
    work.await.unwrap_or(Err(PictureError::Broken))
}

/// Where a new picture lies: as wide as what the set has, from its left edge, on the floor.
fn first_lie(design: &Design) -> Lie {
    let all = bounds_of(&design.bars, &design.frames);
    let (left, wide) = all.map_or((0, 0), |all| (all.left, all.right - all.left));
    Lie {
        x_um: SignedLength::new(left).unwrap_or_default(),
        y_um: SignedLength::ZERO,
        width_um: Length::new(wide.max(1_000_000)).unwrap_or(Length::mm(10_000)),
    }
}

/// POST: lays a picture under the elevation.
pub async fn post(cx: Cx, Path(id): Path<DesignId>, sent: Sent) -> Answer {
    let Sent { mut form, file } = sent;
    let design = load::design(&cx, id).await?;
    let picture = match cleaned(file).await {
        Ok(picture) => picture,
        Err(why) => {
            form.fail("picture", &why);
            let whole = load::whole(&cx, id).await?;
            let mut answer = show(&cx, &whole, Refused::Picture(form))?;
            if matches!(why, PictureError::TooLarge { .. }) {
                *answer.status_mut() = StatusCode::PAYLOAD_TOO_LARGE;
            }
            return Ok(answer);
        }
    };
    let digest = hex(&Sha256::digest(&picture.bytes)[..12]);
    // The key's digest knows fields only.
    form.set("digest", digest.clone());
    let looks = picture.looks;
    let new = Backdrop {
        looks,
        lie: first_lie(&design),
        digest,
        opacity: USUAL_OPACITY,
        print: false,
    };
    stock::backdrop::lay(&cx.act(&form), id, &new, &picture.bytes).await?;
    if picture.smaller {
        let (width, height) = (looks.width_px, looks.height_px);
        return done(
            id,
            &format!(
                "The picture lies under the drawing, with fewer pixels than were sent: {width} × \
                 {height}. Scale it by two points."
            ),
        );
    }
    done(
        id,
        "The picture lies under the drawing. Scale it by two points.",
    )
}

fn done(id: DesignId, text: &str) -> Answer {
    Ok(go_with(&Link::Bars(id), &Flash::good(text)))
}

async fn refused(cx: &Cx, id: DesignId, form: Form) -> Answer {
    show(cx, &load::whole(cx, id).await?, Refused::Picture(form))
}

/// POST: where it lies and how it shows.
pub async fn place(cx: Cx, Path(id): Path<DesignId>, mut form: Form) -> Answer {
    let unit = cx.unit();
    let (x, y) = (form.position("x", unit), form.position("y", unit));
    let width = form.length_above_zero("width", unit);
    let opacity = form.take("opacity", |text| {
        let percent = text.trim().parse().ok();
        percent
            .filter(|percent| OPACITIES.contains(percent))
            .ok_or("Choose one from the list.")
    });
    let (Some(x_um), Some(y_um), Some(width_um), Some(opacity)) = (x, y, width, opacity) else {
        return refused(&cx, id, form).await;
    };
    let print = form.ticked("print");
    // A field says sixteenths of an inch; what was not typed anew stays as exact as it was.
    let position = |typed: SignedLength, was: SignedLength| {
        let said = SignedLength::parse(&was.say(unit), unit);
        if said == Ok(typed) { was } else { typed }
    };
    let length = |typed: Length, was: Length| {
        let said = Length::parse(&was.say(unit), unit);
        if said == Ok(typed) { was } else { typed }
    };
    stock::backdrop::change(&cx.act(&form), id, |old| {
        Ok(Backdrop {
            lie: Lie {
                x_um: position(x_um, old.lie.x_um),
                y_um: position(y_um, old.lie.y_um),
                width_um: length(width_um, old.lie.width_um),
            },
            opacity,
            print,
            ..old
        })
    })
    .await?;
    done(id, "The picture was changed.")
}

/// POST: scales it by two points.
pub async fn scale(cx: Cx, Path(id): Path<DesignId>, mut form: Form) -> Answer {
    let mut pixels = |name: &str| {
        form.take(name, |text| {
            let number = text.trim().replace(',', ".").parse::<f64>().ok();
            number
                .filter(|it| (0.0..=20_000.0).contains(it))
                .ok_or("Type how many pixels from the edge, such as 120.")
        })
    };
    let (ax, ay, bx, by) = (pixels("ax"), pixels("ay"), pixels("bx"), pixels("by"));
    let apart = form.length_above_zero("apart", cx.unit());
    let (Some(ax), Some(ay), Some(bx), Some(by), Some(apart_um)) = (ax, ay, bx, by, apart) else {
        return refused(&cx, id, form).await;
    };
    let points = TwoPoints {
        one: (ax, ay),
        two: (bx, by),
        apart_um,
    };
    let act = cx.act(&form);
    let changed = stock::backdrop::change(&act, id, |old| {
        let lie = old.looks.scaled(old.lie, points);
        lie.map(|lie| Backdrop { lie, ..old })
            .map_err(|why| StockError::Field {
                field: "apart".to_owned(),
                message: why.to_string(),
            })
    });
    match changed.await {
        Ok(()) => done(id, "The picture is to scale."),
        Err(StockError::Field { field, message }) => {
            form.fail(&field, message);
            refused(&cx, id, form).await
        }
        Err(why) => Err(why.into()),
    }
}

/// POST: takes it away.
pub async fn remove(cx: Cx, Path(id): Path<DesignId>, form: Form) -> Result<Response, Trouble> {
    stock::backdrop::remove(&cx.act(&form), id).await?;
    done(id, "The picture was taken away.")
}
