//! A picture's pixels, taken out of the file that was sent and written into a new one.
//!
//! Nothing else of that file is kept: not where and by whom a photo was taken, not what hangs behind
//! the picture, not a second meaning that its bytes may have.

use std::io::Cursor;

use image::{
    DynamicImage, ImageDecoder as _, ImageError, ImageFormat, ImageReader, Limits,
    codecs::{
        jpeg::JpegEncoder,
        png::{CompressionType, FilterType, PngEncoder},
    },
};

use super::{
    Looks, PICTURE_BYTES, PICTURE_EDGE, PICTURE_KEPT, PICTURE_LEAST, PICTURE_MEMORY, PictureError,
    PictureKind,
};

/// How well a photo is kept, of 100.
const QUALITY: u8 = 85;

/// A picture as it is kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Clean {
    /// What it is.
    pub looks: Looks,
    /// Its file.
    pub bytes: Vec<u8>,
    /// Whether it was sent with more pixels.
    pub smaller: bool,
}

/// Takes the pixels of a JPEG or PNG picture, upright, and writes them into a new file: JPEG stays
/// JPEG, and PNG stays PNG unless that would be too large.
pub fn clean(bytes: &[u8]) -> Result<Clean, PictureError> {
    if bytes.is_empty() {
        return Err(PictureError::Empty);
    }
    if bytes.len() > PICTURE_BYTES {
        return Err(PictureError::TooLarge { found: bytes.len() });
    }
    let kind = kind(bytes)?;
    if kind == PictureKind::Jpeg && !reaches_end(bytes) {
        return Err(PictureError::Broken);
    }
    let (picture, sent) = read(bytes, kind)?;
    within(picture, kind, sent, PICTURE_BYTES)
}

/// Writes a picture that was sent with so many pixels along its longer edge, in no more bytes than
/// these.
fn within(
    mut picture: DynamicImage,
    kind: PictureKind,
    sent: u32,
    most: usize,
) -> Result<Clean, PictureError> {
    let kinds: &[PictureKind] = if picture.color().has_alpha() || kind == PictureKind::Jpeg {
        &[kind]
    } else {
        &[PictureKind::Png, PictureKind::Jpeg]
    };
    for longest in [PICTURE_KEPT, PICTURE_KEPT / 2, PICTURE_KEPT / 4] {
        picture = shrunk(picture, longest);
        let (width_px, height_px) = (picture.width(), picture.height());
        for kind in kinds {
            let bytes = write(&picture, *kind).map_err(|_| PictureError::Broken)?;
            if bytes.len() <= most {
                return Ok(Clean {
                    looks: Looks {
                        kind: *kind,
                        width_px,
                        height_px,
                    },
                    bytes,
                    smaller: width_px.max(height_px) < sent,
                });
            }
        }
    }
    // A quarter of the pixels kept takes less than the limit in any kind.
    Err(PictureError::Broken)
}

fn kind(bytes: &[u8]) -> Result<PictureKind, PictureError> {
    if bytes.starts_with(b"\x89PNG\r\n\x1a\n") {
        Ok(PictureKind::Png)
    } else if bytes.starts_with(&[0xFF, 0xD8, 0xFF]) {
        Ok(PictureKind::Jpeg)
    } else {
        Err(PictureError::Unknown)
    }
}

/// Whether a JPEG has its end marker (ITU-T T.81, B.1.1.3). The decoder fills up what is missing from
/// one that breaks off.
fn reaches_end(bytes: &[u8]) -> bool {
    let mut at = 2;
    while let Some([first, second]) = bytes.get(at..at + 2) {
        at += match (*first, *second) {
            (0xFF, 0xD9) => return true,
            // Markers that stand alone, and a byte of the coded pixels.
            (0xFF, 0x00 | 0x01 | 0xD0..=0xD8) => 2,
            (0xFF, 0x02..=0xFE) => match bytes.get(at + 2..at + 4) {
                Some([high, low]) => 2 + usize::from(u16::from_be_bytes([*high, *low])),
                _ => return false,
            },
            // The coded pixels, and what fills up before a marker.
            _ => 1,
        };
    }
    false
}

/// The pixels, upright and no more than are kept, and how many there were along the longer edge.
fn read(bytes: &[u8], kind: PictureKind) -> Result<(DynamicImage, u32), PictureError> {
    let format = match kind {
        PictureKind::Png => ImageFormat::Png,
        PictureKind::Jpeg => ImageFormat::Jpeg,
    };
    let mut limits = Limits::no_limits();
    limits.max_alloc = Some(PICTURE_MEMORY);
    let mut reader = ImageReader::with_format(Cursor::new(bytes), format);
    reader.limits(limits);
    let mut decoder = reader.into_decoder().map_err(|_| PictureError::Broken)?;
    let (width, height) = decoder.dimensions();
    let fits = |edge| (PICTURE_LEAST..=PICTURE_EDGE).contains(&edge);
    if !(fits(width) && fits(height)) {
        return Err(PictureError::Size { width, height });
    }
    let heavy = |needs| PictureError::Heavy {
        width,
        height,
        needs,
    };
    let needs = decoder.total_bytes();
    if needs > PICTURE_MEMORY {
        return Err(heavy(needs));
    }
    let upright = decoder.orientation().map_err(|_| PictureError::Broken)?;
    let picture = DynamicImage::from_decoder(decoder).map_err(|why| match why {
        ImageError::Limits(_) => heavy(needs),
        _ => PictureError::Broken,
    })?;
    let mut picture = plain(shrunk(picture, PICTURE_KEPT));
    picture.apply_orientation(upright);
    Ok((picture, width.max(height)))
}

/// A picture with no edge longer than this, as far as the other stays long enough.
fn shrunk(picture: DynamicImage, longest: u32) -> DynamicImage {
    let (width, height) = (picture.width(), picture.height());
    let (long, short) = (width.max(height), width.min(height));
    let longest = longest.max((long * PICTURE_LEAST).div_ceil(short));
    if long <= longest {
        return picture;
    }
    let edge = |edge: u32| (edge * longest + long / 2) / long;
    picture.thumbnail_exact(edge(width), edge(height))
}

/// Eight bits a channel, and only the channels that say something.
fn plain(picture: DynamicImage) -> DynamicImage {
    let colour = picture.color();
    let clear = colour.has_alpha() && picture.to_luma_alpha8().pixels().any(|it| it[1] < u8::MAX);
    match (colour.has_color(), clear) {
        (true, true) => picture.into_rgba8().into(),
        (true, false) => picture.into_rgb8().into(),
        (false, true) => picture.into_luma_alpha8().into(),
        (false, false) => picture.into_luma8().into(),
    }
}

fn write(picture: &DynamicImage, kind: PictureKind) -> Result<Vec<u8>, ImageError> {
    let mut bytes = Vec::new();
    match kind {
        PictureKind::Png => picture.write_with_encoder(PngEncoder::new_with_quality(
            &mut bytes,
            CompressionType::Default,
            FilterType::Adaptive,
        ))?,
        PictureKind::Jpeg => {
            picture.write_with_encoder(JpegEncoder::new_with_quality(&mut bytes, QUALITY))?;
        }
    }
    Ok(bytes)
}

#[cfg(test)]
mod tests {
    use image::{
        GenericImageView as _, GrayAlphaImage, ImageEncoder as _, LumaA, Rgb, RgbImage, Rgba,
        RgbaImage,
    };

    use super::*;

    const SECRET: &[u8] = b"Ada Marsh, 51.5 N 0.1 W";

    /// Red on the left, blue on the right; its upper half is brighter.
    fn scene(width: u32, height: u32) -> DynamicImage {
        RgbImage::from_fn(width, height, |x, y| {
            let bright = if y < height / 2 { 250 } else { 120 };
            Rgb(if x < width / 2 {
                [bright, 0, 0]
            } else {
                [0, 0, bright]
            })
        })
        .into()
    }

    /// Exif data that say how the picture stands, and whose it is (tag 315, Artist).
    fn exif(stands: u8) -> Vec<u8> {
        let mut tiff = b"MM\0\x2a\0\0\0\x08\0\x02".to_vec();
        tiff.extend([0x01, 0x12, 0, 3, 0, 0, 0, 1, 0, stands, 0, 0]);
        tiff.extend([0x01, 0x3B, 0, 2, 0, 0, 0]);
        tiff.push(u8::try_from(SECRET.len()).unwrap());
        tiff.extend([0, 0, 0, 38, 0, 0, 0, 0]);
        tiff.extend(SECRET);
        tiff
    }

    fn file(picture: &DynamicImage, kind: PictureKind, stands: Option<u8>) -> Vec<u8> {
        let mut bytes = Vec::new();
        match kind {
            PictureKind::Png => {
                let mut to = PngEncoder::new(&mut bytes);
                if let Some(stands) = stands {
                    to.set_exif_metadata(exif(stands)).unwrap();
                }
                picture.write_with_encoder(to).unwrap();
            }
            PictureKind::Jpeg => {
                let mut to = JpegEncoder::new_with_quality(&mut bytes, 95);
                if let Some(stands) = stands {
                    to.set_exif_metadata(exif(stands)).unwrap();
                }
                picture.write_with_encoder(to).unwrap();
            }
        }
        bytes
    }

    fn opened(clean: &Clean) -> DynamicImage {
        let picture = image::load_from_memory(&clean.bytes).unwrap();
        let (width, height) = (clean.looks.width_px, clean.looks.height_px);
        assert_eq!(picture.dimensions(), (width, height));
        picture
    }

    fn holds(bytes: &[u8], part: &[u8]) -> bool {
        bytes.windows(part.len()).any(|window| window == part)
    }

    #[test]
    fn a_photo_is_kept_upright_and_without_what_it_tells_of_people_and_places() {
        for kind in [PictureKind::Jpeg, PictureKind::Png] {
            let whole = file(&scene(64, 32), kind, None);
            let as_is = clean(&whole).unwrap();
            assert_eq!((as_is.looks.width_px, as_is.looks.height_px), (64, 32));
            assert_eq!((as_is.looks.kind, as_is.smaller), (kind, false));
            // What stands at the upper left of the file, and where it is seen (Exif 3.0, table 6).
            for (stands, seen) in [
                (1, (4, 4)),
                (2, (59, 4)),
                (3, (59, 27)),
                (4, (4, 27)),
                (5, (4, 4)),
                (6, (27, 4)),
                (7, (27, 59)),
                (8, (4, 59)),
            ] {
                let sent = file(&scene(64, 32), kind, Some(stands));
                assert!(holds(&sent, SECRET));
                let kept = clean(&sent).unwrap();
                assert!(!holds(&kept.bytes, SECRET) && !holds(&kept.bytes, b"Exif"));
                assert!(!holds(&kept.bytes, b"eXIf"));
                let on_side = stands >= 5;
                let size = (kept.looks.width_px, kept.looks.height_px);
                assert_eq!(size, if on_side { (32, 64) } else { (64, 32) }, "{stands}");
                let Rgba([red, _, blue, _]) = opened(&kept).get_pixel(seen.0, seen.1);
                assert!(red > 200 && blue < 60, "{kind} {stands}: {red} {blue}");
            }
        }
    }

    #[test]
    fn what_hangs_behind_a_picture_is_gone() {
        for kind in [PictureKind::Jpeg, PictureKind::Png] {
            let mut sent = file(&scene(64, 32), kind, None);
            let alone = clean(&sent).unwrap();
            sent.extend(b"PK\x03\x04<script>alert(1)</script>");
            assert_eq!(clean(&sent), Ok(alone));
        }
    }

    #[test]
    fn a_picture_that_breaks_off_is_refused() {
        for kind in [PictureKind::Jpeg, PictureKind::Png] {
            let whole = file(&scene(64, 32), kind, Some(6));
            // At a PNG's end stand check sums and a chunk of nothing: the pixels are all there.
            let tail = if kind == PictureKind::Png { 24 } else { 0 };
            for end in 8..whole.len() - tail {
                assert_eq!(clean(&whole[..end]), Err(PictureError::Broken), "{end}");
            }
        }
        let damaged = |mut bytes: Vec<u8>| {
            let middle = bytes.len() / 2;
            bytes[middle] ^= 0x55;
            clean(&bytes)
        };
        let png = file(&scene(64, 32), PictureKind::Png, None);
        assert_eq!(damaged(png), Err(PictureError::Broken));
    }

    /// A PNG that says a size and has next to nothing behind it.
    fn claims(width: u32, height: u32) -> Vec<u8> {
        let mut bytes = Vec::new();
        PngEncoder::new(&mut bytes)
            .write_image(&[0; 4 * 16 * 16], 16, 16, image::ColorType::Rgba8.into())
            .unwrap();
        let mut head = b"IHDR".to_vec();
        head.extend(width.to_be_bytes());
        head.extend(height.to_be_bytes());
        head.extend(&bytes[24..29]);
        // The check sum of the chunk (ISO/IEC 15948, annex D).
        let sum = head.iter().fold(u32::MAX, |sum, byte| {
            (0..8).fold(sum ^ u32::from(*byte), |sum, _| {
                (sum >> 1) ^ (0xEDB8_8320 * (sum & 1))
            })
        });
        bytes[12..29].copy_from_slice(&head);
        bytes[29..33].copy_from_slice(&(!sum).to_be_bytes());
        bytes
    }

    #[test]
    fn what_would_not_fit_is_refused_before_it_is_opened() {
        assert!(clean(&claims(16, 16)).is_ok());
        assert!(matches!(
            clean(&claims(10_000, 10_000)),
            Err(PictureError::Heavy {
                needs: 400_000_000,
                ..
            })
        ));
        let size = |width, height| Err(PictureError::Size { width, height });
        assert_eq!(clean(&claims(10_001, 40)), size(10_001, 40));
        assert_eq!(clean(&claims(40, 15)), size(40, 15));
        assert!(clean(&claims(0x7FFF_FFFF, 0x7FFF_FFFF)).is_err());
        let found = PICTURE_BYTES + 1;
        let large = clean(&vec![0; found]);
        assert_eq!(large, Err(PictureError::TooLarge { found }));
        assert_eq!(clean(b""), Err(PictureError::Empty));
        for strange in [&b"<svg xmlns='x'/>"[..], b"GIF89a......", b"RIFF"] {
            assert_eq!(clean(strange), Err(PictureError::Unknown));
        }
    }

    #[test]
    fn more_pixels_than_are_kept_become_fewer_in_the_same_shape() {
        let size = |width, height| {
            let kept = clean(&file(&scene(width, height), PictureKind::Jpeg, None)).unwrap();
            opened(&kept);
            (kept.looks.width_px, kept.looks.height_px, kept.smaller)
        };
        assert_eq!(size(3600, 1800), (2400, 1200, true));
        assert_eq!(size(600, 4800), (300, 2400, true));
        // The shorter edge stays long enough to be shown.
        assert_eq!(size(9000, 20), (7200, 16, true));
        assert_eq!(size(9000, 16), (9000, 16, false));
    }

    #[test]
    fn pixels_that_let_through_stay_so_and_what_says_nothing_goes() {
        let kept = |picture: DynamicImage| {
            let kept = clean(&file(&picture, PictureKind::Png, None)).unwrap();
            opened(&kept)
        };
        let clear = RgbaImage::from_pixel(20, 20, Rgba([9, 8, 7, 6]));
        assert_eq!(kept(clear.clone().into()), clear.into());
        let full = RgbaImage::from_pixel(20, 20, Rgba([9, 8, 7, 255]));
        let seen = RgbImage::from_pixel(20, 20, Rgb([9, 8, 7]));
        assert_eq!(kept(full.into()), seen.into());
        let grey = GrayAlphaImage::from_pixel(20, 20, LumaA([9, 6]));
        assert_eq!(kept(grey.clone().into()), grey.into());
        let deep = DynamicImage::from(RgbImage::from_pixel(20, 20, Rgb([9, 8, 7]))).into_rgb16();
        assert_eq!(kept(deep.into()).color(), image::ColorType::Rgb8);
    }

    #[test]
    fn what_is_too_large_as_png_is_kept_as_jpeg_or_with_fewer_pixels() {
        let mut seed = 7_u32;
        let mut noise = || {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            seed.to_be_bytes()
        };
        let opaque = DynamicImage::from(RgbImage::from_fn(2000, 40, |_, _| {
            let [red, green, blue, _] = noise();
            Rgb([red, green, blue])
        }));
        let clear = DynamicImage::from(RgbaImage::from_fn(2000, 40, |_, _| Rgba(noise())));
        let kept = |picture: &DynamicImage, most| {
            let kept = within(picture.clone(), PictureKind::Png, 2000, most).unwrap();
            assert!(kept.bytes.len() <= most);
            opened(&kept);
            (kept.looks.kind, kept.looks.width_px, kept.smaller)
        };
        assert_eq!(kept(&opaque, 300_000), (PictureKind::Png, 2000, false));
        assert_eq!(kept(&opaque, 200_000), (PictureKind::Jpeg, 2000, false));
        assert_eq!(kept(&clear, 200_000), (PictureKind::Png, 1200, true));
    }
}
