//! A picture that is laid under an elevation: read as far as its kind and size go, and where it
//! lies.

use super::text::words;
use crate::units::{Length, SignedLength};

/// The most bytes of a picture.
pub const PICTURE_BYTES: usize = 6 * 1024 * 1024;
/// The most pixels along one edge.
pub const PICTURE_EDGE: u32 = 10_000;
/// The fewest pixels along one edge.
pub const PICTURE_LEAST: u32 = 16;

words! {
    /// Kinds of pictures that are taken.
    PictureKind {
        /// PNG (ISO/IEC 15948).
        Png = "png", "PNG";
        /// JPEG (ITU-T T.81).
        Jpeg = "jpeg", "JPEG";
    }
}

impl PictureKind {
    /// Its media type.
    pub const fn media_type(self) -> &'static str {
        match self {
            Self::Png => "image/png",
            Self::Jpeg => "image/jpeg",
        }
    }
}

/// What a picture is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Looks {
    /// Its kind.
    pub kind: PictureKind,
    /// Pixels across, as it is shown.
    pub width_px: u32,
    /// Pixels up, as it is shown.
    pub height_px: u32,
}

/// Why a file is not taken as a picture.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PictureError {
    /// Nothing was sent.
    #[error("No file was chosen. Choose a JPEG or PNG picture.")]
    Empty,
    /// Too many bytes.
    #[error("This picture has {} KiB; at most {} KiB are taken. Save it smaller and choose that.", found / 1024, PICTURE_BYTES / 1024)]
    TooLarge {
        /// Bytes found.
        found: usize,
    },
    /// Neither kind, whatever its name says.
    #[error(
        "This file is neither a JPEG nor a PNG picture, whatever its name says. Save it as one of them."
    )]
    Unknown,
    /// It begins as a picture and breaks off.
    #[error("This picture breaks off before its size is told. Save it again, or choose another.")]
    Broken,
    /// Too many or too few pixels.
    #[error(
        "This picture has {width} × {height} pixels; each edge may have {PICTURE_LEAST} to {PICTURE_EDGE}. Save it in another size."
    )]
    Size {
        /// Pixels across.
        width: u32,
        /// Pixels up.
        height: u32,
    },
}

/// Reads what a picture is from its own bytes.
pub fn look(bytes: &[u8]) -> Result<Looks, PictureError> {
    if bytes.is_empty() {
        return Err(PictureError::Empty);
    }
    if bytes.len() > PICTURE_BYTES {
        return Err(PictureError::TooLarge { found: bytes.len() });
    }
    let (kind, size) = if bytes.starts_with(b"\x89PNG\r\n\x1a\n") {
        (PictureKind::Png, png(bytes))
    } else if bytes.starts_with(&[0xFF, 0xD8, 0xFF]) {
        (PictureKind::Jpeg, jpeg(bytes))
    } else {
        return Err(PictureError::Unknown);
    };
    let (width, height) = size.ok_or(PictureError::Broken)?;
    let fits = |edge| (PICTURE_LEAST..=PICTURE_EDGE).contains(&edge);
    if !(fits(width) && fits(height)) {
        return Err(PictureError::Size { width, height });
    }
    Ok(Looks {
        kind,
        width_px: width,
        height_px: height,
    })
}

fn number(bytes: &[u8], at: usize, little: bool, wide: usize) -> Option<u32> {
    let part = bytes.get(at..at.checked_add(wide)?)?;
    let fold = |sum: u32, byte: &u8| (sum << 8) | u32::from(*byte);
    Some(if little {
        part.iter().rev().fold(0, fold)
    } else {
        part.iter().fold(0, fold)
    })
}

/// The first chunk tells the size (ISO/IEC 15948, 11.2.2).
fn png(bytes: &[u8]) -> Option<(u32, u32)> {
    (bytes.get(12..16)? == b"IHDR")
        .then_some((number(bytes, 16, false, 4)?, number(bytes, 20, false, 4)?))
}

/// The frame header tells the size (ITU-T T.81, B.2.2); a camera may say beside it (Exif, tag 274)
/// that the picture stands on its side.
fn jpeg(bytes: &[u8]) -> Option<(u32, u32)> {
    let (mut at, mut on_side) = (2, false);
    loop {
        if *bytes.get(at)? != 0xFF {
            return None;
        }
        let marker = *bytes.get(at + 1)?;
        match marker {
            0xFF => {
                at += 1;
                continue;
            }
            0x01 | 0xD0..=0xD7 => {
                at += 2;
                continue;
            }
            // The picture begins, or ends, without a frame.
            0xD9 | 0xDA => return None,
            _ => {}
        }
        let long = usize::try_from(number(bytes, at + 2, false, 2)?).ok()?;
        let inside = bytes.get(at + 4..at.checked_add(2 + long)?)?;
        match marker {
            0xE1 => on_side |= turned(inside).unwrap_or(false),
            0xC0..=0xCF if !matches!(marker, 0xC4 | 0xC8 | 0xCC) => {
                let (high, wide) = (number(inside, 1, false, 2)?, number(inside, 3, false, 2)?);
                return Some(if on_side { (high, wide) } else { (wide, high) });
            }
            _ => {}
        }
        at += 2 + long;
    }
}

/// Whether Exif data say that width and height change places.
fn turned(exif: &[u8]) -> Option<bool> {
    let tiff = exif.strip_prefix(b"Exif\0\0")?;
    let little = tiff.starts_with(b"II");
    let list = usize::try_from(number(tiff, 4, little, 4)?).ok()?;
    let count = usize::try_from(number(tiff, list, little, 2)?).ok()?;
    for entry in (0..count.min(200)).map(|n| list + 2 + 12 * n) {
        if number(tiff, entry, little, 2)? == 274 {
            return Some((5..=8).contains(&number(tiff, entry + 8, little, 2)?));
        }
    }
    None
}

/// Where a picture lies in the elevation.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Lie {
    /// Its left edge.
    pub x_um: SignedLength,
    /// Its lower edge, above the floor.
    pub y_um: SignedLength,
    /// Its width.
    pub width_um: Length,
}

/// Two points of a picture and how far apart they are in truth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TwoPoints {
    /// The first, in pixels from the left and from the top.
    pub one: (f64, f64),
    /// The second.
    pub two: (f64, f64),
    /// How far apart they are.
    pub apart_um: Length,
}

/// Why a picture cannot be scaled so.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum ScaleError {
    /// The points are too near each other to tell a scale.
    #[error(
        "The two points are less than 5 pixels apart. Choose two that are far from each other."
    )]
    TooNear,
    /// The picture would be larger than elevations are.
    #[error(
        "With these points the picture would be wider than 1 km, or hang further off. Check the distance."
    )]
    TooFar,
}

impl Looks {
    /// Its height where it lies.
    pub fn height_um(&self, width_um: Length) -> i64 {
        let high = i64::from(self.height_px) * width_um.get();
        (high + i64::from(self.width_px) / 2) / i64::from(self.width_px)
    }

    /// Scales a picture by two points; the first stays where it lies.
    pub fn scaled(&self, lie: Lie, points: TwoPoints) -> Result<Lie, ScaleError> {
        let (dx, dy) = (points.two.0 - points.one.0, points.two.1 - points.one.1);
        let apart = dx.hypot(dy);
        if apart < 5.0 {
            return Err(ScaleError::TooNear);
        }
        let wide = f64::from(self.width_px);
        let was = lie.width_um.metres() / wide;
        let is = points.apart_um.metres() / apart;
        let up = f64::from(self.height_px) - points.one.1;
        let whole = |metres: f64| -> Result<i64, ScaleError> {
            #[expect(
                clippy::cast_possible_truncation,
                reason = "held at the ends of the range, which every length refuses"
            )]
            Ok((metres * 1e6).round() as i64)
        };
        let place = |from: SignedLength, pixels: f64| {
            let um = whole(from.metres() + pixels * (was - is))?;
            SignedLength::new(um).map_err(|_| ScaleError::TooFar)
        };
        let width_um = Length::new(whole(wide * is)?).map_err(|_| ScaleError::TooFar)?;
        if width_um == Length::ZERO {
            return Err(ScaleError::TooNear);
        }
        Ok(Lie {
            x_um: place(lie.x_um, points.one.0)?,
            y_um: place(lie.y_um, up)?,
            width_um,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The head of a PNG of a size; what follows is not read.
    fn png(width: u32, height: u32) -> Vec<u8> {
        let mut bytes = b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR".to_vec();
        bytes.extend(width.to_be_bytes());
        bytes.extend(height.to_be_bytes());
        bytes.extend([8, 2, 0, 0, 0]);
        bytes
    }

    /// A JPEG up to its frame header, with Exif data that say how it stands.
    fn jpeg(width: u16, height: u16, stands: Option<(u8, bool)>) -> Vec<u8> {
        let mut bytes = vec![0xFF, 0xD8, 0xFF, 0xE0, 0, 4, 1, 2];
        if let Some((stands, little)) = stands {
            let two = |it: u16| {
                if little {
                    it.to_le_bytes()
                } else {
                    it.to_be_bytes()
                }
            };
            let four = |it: u32| {
                if little {
                    it.to_le_bytes()
                } else {
                    it.to_be_bytes()
                }
            };
            let mut exif = b"Exif\0\0".to_vec();
            exif.extend(if little { b"II" } else { b"MM" });
            exif.extend(two(42));
            exif.extend(four(8));
            exif.extend(two(1));
            exif.extend(two(274));
            exif.extend(two(3));
            exif.extend(four(1));
            exif.extend(two(u16::from(stands)));
            exif.extend([0, 0]);
            bytes.extend([0xFF, 0xE1]);
            bytes.extend((u16::try_from(exif.len()).unwrap() + 2).to_be_bytes());
            bytes.extend(exif);
        }
        // A table, fill bytes, then the frame.
        bytes.extend([0xFF, 0xC4, 0, 3, 9, 0xFF, 0xFF, 0xC2, 0, 11, 8]);
        bytes.extend(height.to_be_bytes());
        bytes.extend(width.to_be_bytes());
        bytes.extend([1, 1, 0x11, 0]);
        bytes
    }

    fn size(bytes: &[u8]) -> Result<(PictureKind, u32, u32), PictureError> {
        look(bytes).map(|it| (it.kind, it.width_px, it.height_px))
    }

    #[test]
    fn a_picture_is_known_by_its_own_bytes() {
        assert_eq!(size(&png(640, 480)), Ok((PictureKind::Png, 640, 480)));
        assert_eq!(
            size(&jpeg(640, 480, None)),
            Ok((PictureKind::Jpeg, 640, 480))
        );
        for (stands, turned) in [(1, false), (3, false), (6, true), (8, true)] {
            for little in [true, false] {
                let wanted = if turned { (480, 640) } else { (640, 480) };
                let found = size(&jpeg(640, 480, Some((stands, little)))).unwrap();
                assert_eq!((found.1, found.2), wanted, "{stands}");
            }
        }
    }

    #[test]
    fn what_is_no_picture_or_too_large_says_so() {
        assert_eq!(size(b""), Err(PictureError::Empty));
        assert_eq!(size(b"<svg xmlns='x'/>"), Err(PictureError::Unknown));
        assert_eq!(size(b"GIF89a......"), Err(PictureError::Unknown));
        let size_of = |width, height| Err(PictureError::Size { width, height });
        assert_eq!(size(&png(10_001, 40)), size_of(10_001, 40));
        assert_eq!(size(&png(40, 0)), size_of(40, 0));
        let found = PICTURE_BYTES + 1;
        assert_eq!(size(&vec![0; found]), Err(PictureError::TooLarge { found }));
        // Cut off anywhere, it is never taken and never read beyond its end.
        for whole in [png(640, 480), jpeg(640, 480, Some((6, true)))] {
            for end in 8..whole.len() - 4 {
                let cut = size(&whole[..end.min(if whole[0] == 0x89 { 23 } else { end })]);
                if whole[0] == 0xFF {
                    assert_eq!(cut, Err(PictureError::Broken), "{end}");
                } else {
                    assert!(cut.is_err(), "{end}");
                }
            }
        }
    }

    #[test]
    fn two_points_scale_it_and_the_first_stays() {
        let looks = look(&png(1000, 500)).unwrap();
        let lie = Lie {
            x_um: SignedLength::new(2_000_000).unwrap(),
            y_um: SignedLength::ZERO,
            width_um: Length::mm(10_000),
        };
        // 10 mm a pixel becomes 20 mm a pixel: 300 and 400 pixels apart are 500 (3-4-5).
        let points = TwoPoints {
            one: (100.0, 450.0),
            two: (400.0, 50.0),
            apart_um: Length::mm(10_000),
        };
        let scaled = looks.scaled(lie, points).unwrap();
        assert_eq!(scaled.width_um, Length::mm(20_000));
        assert_eq!(looks.height_um(scaled.width_um), 10_000_000);
        // The first point lay 1 m from the left edge and 0.5 m up; now 2 m and 1 m.
        assert_eq!(scaled.x_um.get(), 1_000_000);
        assert_eq!(scaled.y_um.get(), -500_000);
        let near = TwoPoints {
            two: (103.0, 453.0),
            ..points
        };
        assert_eq!(looks.scaled(lie, near), Err(ScaleError::TooNear));
        let far = TwoPoints {
            apart_um: Length::mm(1_000_000),
            ..points
        };
        assert_eq!(looks.scaled(lie, far), Err(ScaleError::TooFar));
    }
}
