//! Fuses: one near the supply in each feed, and one at each output whose own limit does not
//! protect its wires.
//!
//! A fuse protects everything downstream of it up to the next fuse or output limit, so it is not
//! larger than the thinnest conductor there; and it is loaded to three quarters at most (common
//! practice, no source). Where no size lies between the two, none fits. A conductor of unknown
//! rating is not passed.

use super::{Chosen, Protected, Words};
use crate::{
    model::{
        id::PartId,
        part::{Cable, Driver, Fuse, FuseFamily, Lead, PartSpec},
    },
    plan::{check::Checks, check::Finding, fit::amps, power::Output, power::capital},
    units::{ConductorSize, Current, Voltage},
};

/// Blade fuses in mA (common sizes), for at most 32 V.
pub const BLADE_MA: [i64; 11] = [
    1_000, 2_000, 3_000, 4_000, 5_000, 7_500, 10_000, 15_000, 20_000, 25_000, 30_000,
];
/// Cartridge fuses in mA (IEC 60127) from 1 A.
pub const CARTRIDGE_MA: [i64; 11] = [
    1_000, 1_250, 1_600, 2_000, 2_500, 3_150, 4_000, 5_000, 6_300, 8_000, 10_000,
];
/// The most that a blade fuse breaks, in mV.
const BLADE_MV: i64 = 32_000;

/// The smallest size of a series that a current loads to three quarters at most, if it is not
/// larger than what it protects.
pub fn next_fuse(series: &[i64], load_ma: i64, most_ma: i64) -> Option<i64> {
    let enough = |size: &&i64| **size * 3 >= load_ma * 4;
    series
        .iter()
        .find(enough)
        .copied()
        .filter(|size| *size <= most_ma)
}

/// The largest fuse for a conductor by its size: small conductors by NFPA 70 240.4(D) (16 AWG from
/// memory), cords by their common table; `None` for sizes that no table at hand names.
fn by_size(size: ConductorSize) -> Option<i64> {
    match size {
        ConductorSize::Awg { awg } => match awg {
            18 => Some(7_000),
            16 => Some(10_000),
            14 => Some(15_000),
            12 => Some(20_000),
            _ => None,
        },
        ConductorSize::Metric { mm2_thousandths } => match mm2_thousandths {
            500 => Some(3_000),
            750 => Some(6_000),
            1_000 => Some(10_000),
            1_250 => Some(13_000),
            1_500 => Some(15_000),
            _ => None,
        },
    }
}

/// The largest fuse for a conductor: by its maker's rating and by its size, the smaller of the two;
/// `None` where neither is known.
fn largest_fuse(rating: Option<Current>, size: Option<ConductorSize>) -> Option<i64> {
    let known = rating.map(Current::get);
    match (known, size.and_then(by_size)) {
        (Some(a), Some(b)) => Some(a.min(b)),
        (a, b) => a.or(b),
    }
}

/// The most that an output, wired with a lead, may carry so that it can be protected: by its own
/// limit, or by a fuse. Where the lead tells nothing, nothing speaks against any load.
pub(in crate::plan) fn protected_ma(driver: &Driver, lead: &Lead, voltage: Voltage) -> i64 {
    let Some(most) = largest_fuse(lead.rating_ma, lead.conductor) else {
        return i64::MAX;
    };
    if driver
        .output_limit_ma
        .is_some_and(|limit| limit.get() <= most)
    {
        return i64::MAX;
    }
    under_a_fuse(most, voltage)
}

/// The most that an inlet may carry so that its feed over a cable can be fused; `None` where the cable
/// does not tell.
pub(in crate::plan) fn fused_ma(cable: &Cable, voltage: Voltage) -> Option<i64> {
    let most = largest_fuse(cable.rating_ma, cable.conductor)?;
    Some(under_a_fuse(most, voltage))
}

/// What the largest fuse of at most so many mA may be loaded with.
fn under_a_fuse(most_ma: i64, voltage: Voltage) -> i64 {
    let blades = BLADE_MA.iter().filter(|_| voltage.get() <= BLADE_MV);
    let sizes = blades.chain(&CARTRIDGE_MA).filter(|size| **size <= most_ma);
    sizes.max().map_or(0, |size| size * 3 / 4)
}

/// What a fuse may protect at most: the thinnest conductor on the way, or the first whose rating
/// is not known.
enum Most {
    Of(i64, String),
    Unknown(String),
}

fn thinnest(chosen: &Chosen<'_, '_>, parts: impl IntoIterator<Item = PartId>) -> Option<Most> {
    let mut least: Option<(i64, String)> = None;
    for id in parts {
        let (rating, size) = match &chosen.book.part(id)?.spec {
            PartSpec::Cable(cable) => (cable.rating_ma, cable.conductor),
            PartSpec::Lead(lead) => (lead.rating_ma, lead.conductor),
            PartSpec::Coupler(coupler) => (coupler.rating_ma, None),
            PartSpec::Block(block) => (block.rating_ma, None),
            _ => (None, None),
        };
        let most = largest_fuse(rating, size);
        let name = chosen.book.name(id);
        let Some(most) = most else {
            return Some(Most::Unknown(name));
        };
        if least.as_ref().is_none_or(|(least, _)| most < *least) {
            least = Some((most, name));
        }
    }
    least.map(|(most, name)| Most::Of(most, name))
}

/// The fuses that one feed or output may have: of a blade one size, of a cartridge one, at least one
/// of the two.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(in crate::plan) struct Sizes {
    /// The blade fuse, in mA; `None` where none fits, and above 32 V.
    pub(in crate::plan) blade: Option<i64>,
    /// The cartridge fuse, in mA; `None` where none fits.
    pub(in crate::plan) cartridge: Option<i64>,
}

impl Sizes {
    /// The sizes for a current; `None` where none fits.
    fn of(load_ma: i64, most_ma: i64, voltage_mv: i64) -> Option<Self> {
        let blade = (voltage_mv <= BLADE_MV)
            .then(|| next_fuse(&BLADE_MA, load_ma, most_ma))
            .flatten();
        let cartridge = next_fuse(&CARTRIDGE_MA, load_ma, most_ma);
        (blade.is_some() || cartridge.is_some()).then_some(Self { blade, cartridge })
    }

    /// In words: `2 A blade or 1.25 A cartridge fuse`.
    pub(in crate::plan) fn words(self) -> String {
        let of = |size: Option<i64>, family: FuseFamily| {
            size.map(|size| format!("{} {family}", amps(size)))
        };
        let both = [
            of(self.blade, FuseFamily::Blade),
            of(self.cartridge, FuseFamily::Cartridge),
        ];
        let list: Vec<String> = both.into_iter().flatten().collect();
        format!("{} fuse", list.join(" or "))
    }

    /// Whether this is one of them, exactly: a smaller one would blow, a larger one not protect.
    pub(in crate::plan) fn has(self, fuse: Fuse) -> bool {
        let size = match fuse.family {
            FuseFamily::Blade => self.blade,
            FuseFamily::Cartridge => self.cartridge,
        };
        size == Some(fuse.rating_ma.get())
    }

    /// Whether blade and cartridge will both do.
    pub(in crate::plan) const fn either(self) -> bool {
        self.blade.is_some() && self.cartridge.is_some()
    }
}

/// A judged place of a fuse: how it came out, what stands beside the inlet or output.
struct Judged {
    finding: Finding,
    words: String,
    /// The fuse itself, where one is needed and fits.
    fuse: Option<Sizes>,
}

/// The least rating that a current asks for.
fn least(load_ma: i64) -> String {
    amps((load_ma * 4 + 2) / 3)
}

fn judge(what: &str, load_ma: Option<i64>, most: Option<Most>, voltage_mv: i64) -> Judged {
    let not = |finding: Finding| Judged {
        finding,
        words: "not known".to_owned(),
        fuse: None,
    };
    let Some(load) = load_ma else {
        return not(Finding::unknown(
            format!("What {what} carries is not known, so neither is its fuse."),
            "Enter the watts per metre of each colour of the tape.",
        ));
    };
    let (most, name) = match most {
        Some(Most::Of(most, name)) => (most, name),
        Some(Most::Unknown(name)) => {
            return not(Finding::unknown(
                format!(
                    "{} carries {}; the rating of {name} on its way is not known, so neither is its fuse.",
                    capital(what),
                    amps(load)
                ),
                "Enter the maker’s rating.",
            ));
        }
        None => {
            return not(Finding::unknown(
                format!(
                    "{} carries {}; which conductors are on its way is not known, so neither is its fuse.",
                    capital(what),
                    amps(load)
                ),
                "Choose its cable and leads.",
            ));
        }
    };
    let figures = format!(
        "{} carries {}, so its fuse is {} or more (loaded to 75 %) and, for {name}, at most {}",
        capital(what),
        amps(load),
        least(load),
        amps(most)
    );
    match Sizes::of(load, most, voltage_mv) {
        Some(sizes) => {
            let fuse = sizes.words();
            Judged {
                finding: Finding::passed(format!("{figures}: {fuse}.")),
                words: format!("{fuse}, at most {} for {name}", amps(most)),
                fuse: Some(sizes),
            }
        }
        None => Judged {
            finding: Finding::broken(
                format!("{figures}: none fits."),
                "Take thicker conductors, or spread the bars over more outputs and inlets.",
            ),
            words: format!(
                "none fits: {} or more, at most {} for {name}",
                least(load),
                amps(most)
            ),
            fuse: None,
        },
    }
}

/// Every conductor behind an output, up to the tape.
fn behind(chosen: &Chosen<'_, '_>, output: &Output) -> Vec<PartId> {
    let mut parts = Vec::new();
    for &at in &output.loads {
        let bar = chosen.loads[at].bar;
        if bar.cable_um.get() > 0 || chosen.loads[at].ends() > 1 {
            parts.extend(chosen.cables.get(&bar.id));
        }
        if bar.cable_um.get() > 0 {
            parts.extend(chosen.block);
        }
        if let Some(plug) = chosen.plugs.get(&bar.id) {
            parts.extend(plug.lead.map(|(id, _)| id));
            parts.extend(plug.mate);
            parts.extend(&plug.couplers);
        }
    }
    parts.sort_unstable();
    parts.dedup();
    parts
}

fn output(
    chosen: &Chosen<'_, '_>,
    what: &str,
    limit: Option<Current>,
    output: &Output,
    voltage_mv: i64,
) -> (Judged, bool) {
    let most = thinnest(chosen, behind(chosen, output));
    if let (Some(limit), Some(Most::Of(most, name))) = (limit, &most)
        && limit.get() <= *most
    {
        let words = format!("its own limit of {} protects its wires", limit.show());
        let finding = Finding::passed(format!(
            "{}: {words}, whose thinnest, {name}, takes {}.",
            capital(what),
            amps(*most)
        ));
        return (
            Judged {
                finding,
                words,
                fuse: None,
            },
            true,
        );
    }
    (judge(what, output.total_ma, most, voltage_mv), false)
}

/// Judges every feed and every output; gives back what stands beside them.
pub(super) fn check(chosen: &Chosen<'_, '_>, checks: &mut Checks) -> (Words, Words) {
    let (mut inlets, mut outputs) = (Words::new(), Words::new());
    for (at, driver) in chosen.used.iter().enumerate() {
        let about = driver.about(chosen.book);
        let key = driver.key(at);
        let voltage_mv = driver.voltage.get();
        // The fullest first: it is the one that a check of several shows.
        let mut list: Vec<_> = driver.outputs.iter().collect();
        list.sort_by_key(|(number, output)| (std::cmp::Reverse(output.total_ma), **number));
        for (&number, one) in list {
            let what = format!("output {number} of {about}");
            let (judged, own) = output(chosen, &what, driver.spec.output_limit_ma, one, voltage_mv);
            let state = judged.finding.state;
            checks.add("fuse-output", &key, &about, judged.finding, []);
            let words = if own {
                judged.words
            } else {
                format!("fuse in its common: {}", judged.words)
            };
            let fuse = judged.fuse;
            outputs.insert((at, number), Protected { state, words, fuse });
        }
        let mut list = driver.inlets();
        list.sort_by_key(|(number, ma)| (std::cmp::Reverse(*ma), *number));
        for (number, ma) in list {
            let what = format!("inlet {number} of {about}");
            let judged = feed(chosen, &what, (at, number), ma, voltage_mv);
            let Some(judged) = judged else { continue };
            let state = judged.finding.state;
            checks.add("fuse-feed", &key, &about, judged.finding, []);
            let words = format!("fuse near the supply: {}", judged.words);
            let fuse = judged.fuse;
            inlets.insert((at, number), Protected { state, words, fuse });
        }
    }
    (inlets, outputs)
}

/// The feed of an inlet; `None` where it has no cable, or no supply.
fn feed(
    chosen: &Chosen<'_, '_>,
    what: &str,
    at: (usize, u16),
    load_ma: Option<i64>,
    voltage_mv: i64,
) -> Option<Judged> {
    chosen.fed.of.get(&at).copied()??;
    let cable = chosen.feeds.cable?;
    // Behind the driver each output has a limit or a fuse of its own.
    let most = thinnest(chosen, [cable]);
    Some(judge(what, load_ma, most, voltage_mv))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fuse(family: FuseFamily, ma: i64) -> Fuse {
        Fuse {
            family,
            rating_ma: Current::new(ma).unwrap(),
        }
    }

    /// Common practice, no source: a fuse is loaded to three quarters at most; 2 A ask for 2.67 A.
    #[test]
    fn of_each_make_one_rating_does_and_no_other() {
        use FuseFamily::{Blade, Cartridge};
        let sizes = Sizes::of(2_000, 10_000, 24_000).unwrap();
        assert_eq!(sizes.words(), "3 A blade or 3.15 A cartridge fuse");
        assert!(sizes.has(fuse(Blade, 3_000)) && sizes.has(fuse(Cartridge, 3_150)));
        for (family, ma) in [
            (Blade, 2_000),
            (Blade, 4_000),
            (Blade, 3_150),
            (Cartridge, 3_000),
            (Cartridge, 2_500),
            (Cartridge, 4_000),
        ] {
            assert!(!sizes.has(fuse(family, ma)), "{family} {ma}");
        }
        // The conductor takes 3 A: of cartridges the next size is too large.
        let sizes = Sizes::of(2_000, 3_000, 24_000).unwrap();
        assert_eq!(sizes.words(), "3 A blade fuse");
        assert!(!sizes.has(fuse(Cartridge, 3_150)) && !sizes.either());
        assert_eq!(Sizes::of(2_000, 2_500, 24_000), None);
    }

    /// Blade fuses are for at most 32 V dc (common sizes).
    #[test]
    fn above_32_volts_no_blade_does() {
        let blade = fuse(FuseFamily::Blade, 3_000);
        assert!(Sizes::of(2_000, 10_000, 32_000).unwrap().has(blade));
        let sizes = Sizes::of(2_000, 10_000, 32_001).unwrap();
        assert_eq!(sizes.words(), "3.15 A cartridge fuse");
        assert!(!sizes.has(blade));
    }
}
