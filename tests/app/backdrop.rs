//! The picture under an elevation: chosen, scaled, shown, taken away; and the set in the dark.

use std::io::Cursor;

use image::{ImageFormat, Rgb, RgbImage};
use tapewright::{
    db,
    model::{
        id::DesignId,
        picture::{PICTURE_BYTES, PictureKind},
    },
    sample,
};

use crate::help::{Page, TestApp};

const SET: &str = "/designs/3";

async fn hall() -> TestApp {
    let app = TestApp::new().await;
    assert!(sample::fill(app.db(), app.clock()).await.unwrap());
    app
}

/// A picture as a file.
fn file(width: u32, height: u32, format: ImageFormat) -> Vec<u8> {
    let mut file = Cursor::new(Vec::new());
    let pixels = RgbImage::from_pixel(width, height, Rgb([40, 90, 160]));
    pixels.write_to(&mut file, format).unwrap();
    file.into_inner()
}

fn png(width: u32, height: u32) -> Vec<u8> {
    file(width, height, ImageFormat::Png)
}

/// A picture without its end.
fn cut(format: ImageFormat) -> Vec<u8> {
    let mut whole = file(64, 32, format);
    whole.truncate(whole.len() - 30);
    whole
}

/// A small file that says it holds 10 000 × 10 000 pixels.
fn bomb() -> Vec<u8> {
    let mut file = file(64, 32, ImageFormat::Jpeg);
    // The frame header (ITU-T T.81, B.2.2): marker, length, depth, height, width.
    let frame = file.windows(2).position(|it| it == [0xFF, 0xC0]).unwrap();
    file[frame + 5..frame + 9].copy_from_slice(&[0x27, 0x10, 0x27, 0x10]);
    file
}

/// Sends a file as the form of the page would.
async fn send(app: &TestApp, press: &str, file: &[u8]) -> Page {
    let mut body = format!(
        "--edge\r\nContent-Disposition: form-data; name=\"press\"\r\n\r\n{press}\r\n\
         --edge\r\nContent-Disposition: form-data; name=\"picture\"; filename=\"stage.png\"\r\n\
         Content-Type: image/png\r\n\r\n"
    )
    .into_bytes();
    body.extend(file);
    body.extend(b"\r\n--edge--\r\n");
    let headers = [("content-type", "multipart/form-data; boundary=edge")];
    app.request("POST", format!("{SET}/backdrop"), &headers, body)
        .await
}

fn number(page: &Page, name: &str) -> f64 {
    page.attributes("#elevation image", name)[0]
        .parse()
        .unwrap()
}

#[tokio::test]
pub async fn a_picture_is_laid_under_scaled_and_taken_away() {
    let app = hall().await;
    let version = app.get(format!("{SET}/bars")).await.form("#arrange-form");
    let sent = send(&app, "one-press-of-it", &png(1000, 500)).await;
    assert_eq!(sent.status, 303, "{}", sent.text("main"));
    let page = app.get(format!("{SET}/bars")).await;
    assert_eq!(page.count("#elevation image.backdrop:not(.printed)"), 1);
    assert!((number(&page, "width") / number(&page, "height") - 2.0).abs() < 0.01);
    // The set itself is as it was.
    let now = page.form("#arrange-form");
    assert_eq!(now.value("version"), version.value("version"));
    let href = page.attributes("#elevation image", "href").remove(0);
    let scaled = page
        .form(&format!("form[action='{SET}/backdrop/scale']"))
        .set("ax", "0")
        .set("ay", "500")
        .set("bx", "300")
        .set("by", "100")
        .set("apart", "5 m")
        .send(&app)
        .await;
    assert_eq!(scaled.status, 303, "{}", scaled.text("main"));
    let page = app.get(format!("{SET}/bars")).await;
    let place = page.form(&format!("form[action='{SET}/backdrop/place']"));
    // 300 and 400 pixels apart are 500 (3-4-5), so that a pixel is 10 mm.
    assert_eq!(place.value("width"), Some("10000 mm"));
    let placed = place
        .set("x", "-1 m")
        .set("opacity", "80")
        .set("print", "on")
        .send(&app)
        .await;
    assert_eq!(placed.status, 303, "{}", placed.text("main"));
    let page = app.get(format!("{SET}/bars")).await;
    assert_eq!(
        page.attributes("#elevation image.printed", "opacity"),
        ["0.8"]
    );
    let place = page.form(&format!("form[action='{SET}/backdrop/place']"));
    assert_eq!(place.value("x"), Some("-1000 mm"));
    assert_eq!(place.value("print"), Some("on"));
    // In feet the fields say sixteenths, and what is not typed anew stays as it was.
    let units = async |unit: &str| {
        let settings = app.get("/settings").await.form("form.form");
        let saved = settings.set("length_unit", unit).send(&app).await;
        assert_eq!(saved.status, 303, "{}", saved.text("main"));
    };
    units("ft").await;
    let inches = app.get(format!("{SET}/bars")).await;
    let place = inches.form(&format!("form[action='{SET}/backdrop/place']"));
    assert_eq!(place.value("width"), Some("32'\u{a0}9\u{a0}11/16\""));
    assert_eq!(place.send(&app).await.status, 303);
    units("mm").await;
    let page = app.get(format!("{SET}/bars")).await;
    let place = page.form(&format!("form[action='{SET}/backdrop/place']"));
    assert_eq!(place.value("width"), Some("10000 mm"));
    assert_eq!(place.value("x"), Some("-1000 mm"));
    let gone = page
        .form(&format!("form[action='{SET}/backdrop/remove']"))
        .send(&app)
        .await;
    assert_eq!(gone.status, 303);
    let page = app.get(format!("{SET}/bars")).await;
    assert_eq!(page.count("#elevation image"), 0);
    assert_eq!(app.get(href).await.status, 404);
}

#[tokio::test]
async fn only_the_pixels_of_a_picture_are_kept() {
    let app = hall().await;
    let stored = async || {
        let page = app.get(format!("{SET}/bars")).await;
        let href = page.attributes("#elevation image", "href").remove(0);
        let digest = href.rsplit('/').next().unwrap().to_owned();
        let mut tx = app.db().read().await.unwrap();
        let found = db::backdrop::lookup_bytes(&mut tx, DesignId(3), &digest).await;
        found.unwrap().unwrap()
    };
    for (format, kind) in [
        (ImageFormat::Jpeg, PictureKind::Jpeg),
        (ImageFormat::Png, PictureKind::Png),
    ] {
        let mut sent = file(3000, 1500, format);
        sent.extend(b"PK\x03\x04 Ada Marsh, 51.5 N 0.1 W");
        let page = send(&app, &format!("press-of-{kind}"), &sent).await;
        assert_eq!(page.status, 303, "{}", page.text("main"));
        let page = app.follow(&page).await;
        let said = page.text("#flash");
        assert!(said.contains("2400 × 1200"), "{said}");
        let (found, bytes) = stored().await;
        assert_eq!(found, kind);
        assert!(!String::from_utf8_lossy(&bytes).contains("Ada"));
        let opened = image::load_from_memory(&bytes).unwrap();
        assert_eq!((opened.width(), opened.height()), (2400, 1200));
    }
}

#[tokio::test]
async fn what_is_no_picture_or_too_large_is_refused_by_a_sentence() {
    let app = hall().await;
    for (file, status, said) in [
        (Vec::new(), 422, "No file"),
        (b"GIF89a and so on".to_vec(), 422, "neither"),
        (b"<svg onload='x'/>".to_vec(), 422, "neither"),
        (png(20_000, 40), 422, "20000"),
        (png(4, 4), 422, "4 × 4"),
        (b"\x89PNG\r\n\x1a\n".to_vec(), 422, "breaks off"),
        (cut(ImageFormat::Png), 422, "breaks off"),
        (cut(ImageFormat::Jpeg), 422, "breaks off"),
        (bomb(), 422, "287 MiB"),
        (vec![0; PICTURE_BYTES + 1], 413, "6144 KiB"),
    ] {
        let page = send(&app, "a-press-of-it", &file).await;
        assert_eq!(page.status, status, "{said}: {}", page.text("main"));
        let errors = page.text("#backdrop .error");
        assert!(errors.contains(said), "{said}: {errors}");
        assert_eq!(page.count("#backdrop-box[open]"), 1);
    }
    // More than the form takes at all.
    let page = send(&app, "a-press-of-it", &vec![0; 5 * PICTURE_BYTES]).await;
    assert_eq!(page.status, 413);
    assert!(page.text("main").contains("6 MiB"), "{}", page.text("main"));
    let kind = [("content-type", "application/x-www-form-urlencoded")];
    let page = app
        .request(
            "POST",
            format!("{SET}/backdrop"),
            &kind,
            b"picture=x".to_vec(),
        )
        .await;
    assert_eq!(page.status, 415);
    let page = app.get(format!("{SET}/bars")).await;
    assert_eq!(page.count("#elevation image"), 0);
}

#[tokio::test]
async fn a_scale_or_place_that_cannot_be_comes_back_as_typed() {
    let app = hall().await;
    assert_eq!(
        send(&app, "one-press-of-it", &png(1000, 500)).await.status,
        303
    );
    let page = app.get(format!("{SET}/bars")).await;
    for (form, field, typed, said) in [
        ("scale", "ax", "left", "pixels"),
        ("scale", "by", "-3", "pixels"),
        ("scale", "apart", "0", "above zero"),
        ("scale", "bx", "1", "5 pixels"),
        ("scale", "apart", "1000 m", "1 km"),
        ("place", "width", "wide", "wide"),
        ("place", "opacity", "33", "list"),
        ("place", "x", "2 km", ""),
    ] {
        let filled = page.form(&format!("form[action='{SET}/backdrop/{form}']"));
        let filled = if form == "scale" {
            let points = [
                ("ax", "0"),
                ("ay", "0"),
                ("bx", "100"),
                ("by", "0"),
                ("apart", "1 m"),
            ];
            points
                .iter()
                .fold(filled, |form, (name, value)| form.set(name, value))
        } else {
            filled
        };
        let refused = filled.set(field, typed).set("press", "").send(&app).await;
        assert_eq!(refused.status, 422, "{field}={typed}");
        let errors = refused.text("#backdrop .error");
        assert!(
            !errors.is_empty() && errors.contains(said),
            "{field}={typed}: {errors}"
        );
        let again = refused.form(&format!("form[action='{SET}/backdrop/{form}']"));
        if field != "opacity" {
            assert_eq!(again.value(field), Some(typed));
        }
    }
}

#[tokio::test]
async fn bars_light_up_by_group_in_the_dark() {
    let app = hall().await;
    let page = app.get(format!("{SET}/lit")).await;
    assert_eq!(page.status, 200);
    let lit = page.count("svg .lit");
    assert!(lit > 0);
    let fields = page.attributes("form[data-live] select", "name");
    assert!(!fields.is_empty());
    let off: Vec<String> = fields.iter().map(|name| format!("{name}=off")).collect();
    let dark = app.get(format!("{SET}/lit?{}", off.join("&"))).await;
    assert_eq!(dark.count("svg .lit"), 0);
    assert!(
        dark.texts("#lit .twin li")
            .iter()
            .all(|line| line.ends_with(": off"))
    );
    // One colour of the first group; what nobody offers shows as at first.
    let colour = page
        .attributes("form[data-live] select option", "value")
        .remove(2);
    let one = app.get(format!("{SET}/lit?{}={colour}", fields[0])).await;
    assert!(one.count(&format!("svg .ch-{colour}")) > 0);
    assert!(one.count("svg .lit") < lit);
    let odd = app.get(format!("{SET}/lit?{}=plaid", fields[0])).await;
    assert_eq!(odd.count("svg .lit"), lit);
    assert_eq!(app.get("/designs/999/lit").await.status, 404);
}
