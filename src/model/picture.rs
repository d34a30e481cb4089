//! A picture that is laid under an elevation: what it is, and where it lies.

use super::text::words;
use crate::units::{Length, SignedLength};

pub mod pixels;

/// The most bytes of a picture, as it is sent and as it is kept.
pub const PICTURE_BYTES: usize = 6 * 1024 * 1024;
/// The most pixels along one edge of a picture that is sent.
pub const PICTURE_EDGE: u32 = 10_000;
/// The most pixels along one edge that are kept, unless the other edge would become too short.
pub const PICTURE_KEPT: u32 = 2_400;
/// The most memory that a picture's pixels take when it is opened, in bytes.
pub const PICTURE_MEMORY: u64 = 128 * 1024 * 1024;
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
    /// It begins as a picture, and breaks off or is damaged.
    #[error("This picture breaks off or is damaged. Save it again, or choose another.")]
    Broken,
    /// Too much memory for its pixels.
    #[error(
        "This picture has {width} × {height} pixels, which take {} MiB when it is opened; at most {} MiB are given to one. Save it with fewer pixels.", needs.div_ceil(1024 * 1024), PICTURE_MEMORY / (1024 * 1024)
    )]
    Heavy {
        /// Pixels across.
        width: u32,
        /// Pixels up.
        height: u32,
        /// Bytes of memory.
        needs: u64,
    },
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

    #[test]
    fn two_points_scale_it_and_the_first_stays() {
        let looks = Looks {
            kind: PictureKind::Png,
            width_px: 1000,
            height_px: 500,
        };
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
