//! Each cable run of a bar by itself: which end it goes to, what it is cut from, which lead goes on
//! its end, where it is joined, and with which bars it shares its output.

use super::{BarList, Whole, count_of, wiring::cable_of};
use crate::{
    model::{
        channel::{Channels, RoleOrder},
        connector::Connector,
        design::Bar,
        fixture::Fed,
        id::{BarId, PartId},
        part::PartSpec,
    },
    plan::outcome::{BarEnd, BarPlan, BlockJoint, DriverPlan, Joint, OutputPlan, Serve},
    units::Length,
    web::cx::Cx,
};

/// One run of cable, from its driver to an end of its bar.
pub struct CableRun {
    /// The end of the bar, such as `start`; empty for a fixture that is fed at one end.
    pub to: &'static str,
    /// How much of which cable.
    pub cable: String,
    /// The lead on its end.
    pub lead: String,
    /// In which ways of which block both are joined; empty where there is none.
    pub block: String,
}

impl CableRun {
    /// In one line.
    pub fn line(&self) -> String {
        let to = match self.to {
            "" => "run".to_owned(),
            end => format!("run to its {end}"),
        };
        let mut line = format!("{to}: {}", self.cable);
        for words in [&self.lead, &self.block] {
            if !words.is_empty() {
                line.push_str("; ");
                line.push_str(words);
            }
        }
        line
    }
}

/// A connector in short: shape, sex, and its pins where they are noted.
pub fn plug_words(connector: &Connector) -> String {
    match &connector.pins {
        Some(pins) => {
            let pins: Vec<String> = (1..)
                .zip(pins.list())
                .map(|(at, role)| format!("{at} {role}"))
                .collect();
            format!("{connector} (pins {})", pins.join(", "))
        }
        None => connector.to_string(),
    }
}

/// The connector of a lead.
pub fn lead_connector(whole: &Whole, lead: PartId) -> Option<&Connector> {
    match whole.part(lead).map(|part| &part.spec) {
        Some(PartSpec::Lead(lead)) => Some(&lead.connector),
        _ => None,
    }
}

/// What the bar's own plug is: that of the lead that is soldered on, else of the factory lead or the
/// fixture.
pub fn own_plug<'w>(whole: &'w Whole, plan: &'w BarPlan) -> Option<&'w Connector> {
    match &plan.serve {
        Serve::Build(build) if build.lead.is_some() => lead_connector(whole, build.lead?.0),
        _ => plan.connector.as_ref(),
    }
}

/// The couplers between the lead on a bar's cable and its own.
pub fn couplers(plan: &BarPlan) -> &[PartId] {
    match &plan.serve {
        Serve::Reuse { couplers, .. } => couplers,
        Serve::Build(build) => &build.couplers,
        Serve::Short { .. } => &[],
    }
}

/// The lead on the cable's end, with its pins: what plugs together has the pins of the other half,
/// unless a coupler lies between that may cross them.
pub fn cable_lead(whole: &Whole, plan: &BarPlan) -> Option<(String, Option<RoleOrder>)> {
    let lead = plan.mate?;
    let connector = lead_connector(whole, lead)?;
    let own = own_plug(whole, plan).and_then(|own| own.pins.clone());
    let pins = own.filter(|_| couplers(plan).is_empty());
    Some((
        format!("Lead on the cable, {}", connector.gender),
        pins.or_else(|| connector.pins.clone()),
    ))
}

/// A lead by its name, with what its connector is.
fn lead_words(whole: &Whole, lead: PartId) -> String {
    let name = whole.part_name(lead);
    match lead_connector(whole, lead) {
        Some(connector) => format!("{name}: {connector}"),
        None => name,
    }
}

/// The lit length that the plan gives a bar.
const fn lit(plan: &BarPlan) -> Option<Length> {
    match &plan.serve {
        Serve::Reuse { lit_um, .. } => Some(*lit_um),
        Serve::Build(build) => Some(build.lit_um),
        Serve::Short { .. } => None,
    }
}

/// The ends that are fed with the lengths of their runs: the second is longer by the bar itself.
fn lengths(bar: &Bar, lit: Length) -> Vec<(BarEnd, Length)> {
    let near = (BarEnd::Start, bar.cable_um);
    match bar.fed {
        Fed::OneEnd => vec![near],
        Fed::BothEnds => {
            let far = Length::new(bar.cable_um.get() + lit.get()).unwrap_or_default();
            vec![near, (BarEnd::End, far)]
        }
    }
}

/// The word for the end that a run goes to.
fn end_word(plan: &BarPlan, bar: &Bar, end: BarEnd) -> &'static str {
    match (bar.fed, &plan.serve) {
        (Fed::BothEnds, _) => end.word(),
        (Fed::OneEnd, Serve::Build(build)) if build.start == Joint::None => "end",
        (Fed::OneEnd, Serve::Build(_)) => "start",
        (Fed::OneEnd, _) => "",
    }
}

/// Where a run is joined with its lead.
fn block_words(whole: &Whole, joint: &BlockJoint) -> String {
    let on = match joint.frame {
        Some(id) => (whole.design().frames.iter())
            .find(|frame| frame.id == id)
            .map_or_else(String::new, |frame| format!(" of frame {}", frame.label)),
        None => " off the frames".to_owned(),
    };
    let ways = match joint.ways {
        0 | 1 => format!("way {}", joint.way),
        many => format!("ways {} to {}", joint.way, joint.way + many - 1),
    };
    format!("block {}{on}, {ways}", joint.block)
}

/// The runs of a bar; none for one that nothing serves.
pub fn runs_of(cx: &Cx, whole: &Whole, plan: &BarPlan) -> Vec<CableRun> {
    let (Some(bar), Some(lit)) = (whole.bar(plan.bar), lit(plan)) else {
        return Vec::new();
    };
    let lead = match plan.mate {
        Some(lead) => format!("on it {}", lead_words(whole, lead)),
        None => "which lead goes on it is not known: see Checks".to_owned(),
    };
    let run = |(end, length): (BarEnd, Length)| {
        let joint =
            (whole.plan().blocks.iter()).find(|joint| joint.bar == plan.bar && joint.end == end);
        let cable = match cable_of(whole, plan.bar) {
            _ if length == Length::ZERO => "none, it hangs at its driver".to_owned(),
            Some((part, _)) => format!("{} of {}", cx.length(length), whole.part_name(part)),
            None => cx.length(length),
        };
        CableRun {
            to: end_word(plan, bar, end),
            cable,
            lead: lead.clone(),
            block: joint.map_or_else(String::new, |joint| block_words(whole, joint)),
        }
    };
    lengths(bar, lit).into_iter().map(run).collect()
}

/// The bars that a bar shares its output with.
pub fn shared_with(whole: &Whole, plan: &BarPlan) -> BarList {
    let others = plan
        .output
        .and_then(|at| {
            let outputs = &whole.plan().drivers.get(at.driver)?.outputs;
            outputs.iter().find(|output| output.number == at.output)
        })
        .map_or(&[][..], |output| &output.bars);
    let others: Vec<_> = others
        .iter()
        .copied()
        .filter(|bar| *bar != plan.bar)
        .collect();
    whole.bar_list(&others)
}

/// How the bars of an output share its terminals; `None` where one run has them to itself.
fn shared(whole: &Whole, output: &OutputPlan) -> Option<String> {
    let fed = output.bars.iter().filter_map(|bar| whole.bar(*bar));
    let runs: usize = fed
        .map(|bar| if bar.fed == Fed::BothEnds { 2 } else { 1 })
        .sum();
    (runs > 1).then(|| {
        format!(
            "output {}: the {} of {} {} share its terminals, the wires of one role together. Where \
             a terminal does not hold {runs} wires, join them at a block in front of it; none is \
             counted for that",
            output.number,
            count_of(runs, "run", "runs"),
            if output.bars.len() == 1 {
                "bar"
            } else {
                "bars"
            },
            whole.bar_list(&output.bars),
        )
    })
}

/// The outputs of a driver that several runs share.
pub fn shared_outputs(whole: &Whole, driver: &DriverPlan) -> Vec<String> {
    (driver.outputs.iter())
        .filter_map(|output| shared(whole, output))
        .collect()
}

/// Kinds of leads, each with the bars whose cables end in it.
type Leads = Vec<(String, Vec<BarId>)>;

/// What is to be minded of the leads at the cables' ends, in words: of bars of the same colours none can
/// stand in for one whose lead differs; and cables that plug into each other must not.
pub fn plug_kinds(whole: &Whole) -> Vec<String> {
    let mates = live_mates(whole);
    mates.into_iter().chain(unlike_leads(whole)).collect()
}

/// What the check of cables that plug into each other says, where there are any.
pub fn live_mates(whole: &Whole) -> Option<String> {
    let mut checks = whole.plan().checks.iter();
    let check = checks.find(|check| check.key.starts_with("mates:"))?;
    Some(format!("{} {}", check.sentence, check.mend))
}

fn unlike_leads(whole: &Whole) -> Vec<String> {
    let mut kinds: Vec<(Channels, Leads)> = Vec::new();
    for plan in &whole.plan().bars {
        let lead = plan.mate.and_then(|lead| lead_connector(whole, lead));
        let (Some(bar), Some(lead)) = (whole.bar(plan.bar), lead) else {
            continue;
        };
        let words = lead.to_string();
        if !kinds.iter().any(|(channels, _)| *channels == bar.channels) {
            kinds.push((bar.channels.clone(), Vec::new()));
        }
        let alike = kinds
            .iter_mut()
            .find(|(channels, _)| *channels == bar.channels);
        if let Some((_, leads)) = alike {
            match leads.iter_mut().find(|(known, _)| *known == words) {
                Some((_, bars)) => bars.push(plan.bar),
                None => leads.push((words, vec![plan.bar])),
            }
        }
    }
    kinds
        .into_iter()
        .filter(|(_, leads)| leads.len() > 1)
        .map(|(channels, leads)| {
            let each: Vec<String> = leads
                .iter()
                .map(|(lead, bars)| {
                    let bars = whole.bar_list(bars);
                    format!("{} {bars} on {lead}", bars.word())
                })
                .collect();
            format!(
                "The cables of the {channels} bars end in {} kinds of lead, and a bar of one kind \
                 cannot take the place of one of another: {}.",
                leads.len(),
                each.join("; ")
            )
        })
        .collect()
}
