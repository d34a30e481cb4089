//! `plan`: one design's plan, shortfall and shopping list, as text or as JSON.

use std::{
    collections::{BTreeMap, HashMap},
    fmt::{self, Write as _},
    path::Path,
    process::ExitCode,
};

use serde_json::json;

use super::{Failure, open_existing, say};
use crate::{
    clock::Clock,
    db::{self, Db},
    model::{
        id::{DesignId, PartId},
        part::{Part, StockUnit},
        piece::say_amount,
    },
    plan::{
        Input, Plan,
        answer::Proof,
        outcome::{Becomes, CheckState, CutSource, Joint, Serve},
        plan,
    },
    units::{Current, Length},
};

/// Plans a design, given by its number or its name, and says what came of it. The exit code tells
/// whether the plan keeps every limit.
pub(super) async fn run(data: &Path, asked: &str, as_json: bool) -> Result<ExitCode, Failure> {
    let db = open_existing(data).await?;
    let made = make(&db, asked).await;
    db.close().await;
    let (input, plan) = made?;
    if as_json {
        let design = &input.design;
        let answer = json!({
            "design": {
                "id": design.id,
                "name": design.name,
                "state": design.state,
                "dates": design.dates,
            },
            "keeps_every_limit": !plan.breaks_a_limit(),
            "is_short": plan.is_short(),
            "plan": plan,
        });
        say(format_args!("{answer:#}"));
    } else {
        say(Text::new(&input, &plan));
    }
    Ok(if plan.breaks_a_limit() {
        ExitCode::FAILURE
    } else {
        ExitCode::SUCCESS
    })
}

async fn make(db: &Db, asked: &str) -> Result<(Input, Plan), Failure> {
    let mut tx = db.read().await?;
    let venue = db::venue::lookup(&mut tx).await?;
    let today = Clock::System.today(&venue.zone);
    // A name that is a number wins over the number: names are what people see.
    let id = match db::design::find(&mut tx, asked.trim()).await? {
        Some(id) => Some(id),
        None => asked.trim().parse().ok().map(DesignId),
    };
    let input = match id {
        Some(id) => db::snapshot::input(&mut tx, id, today).await?,
        None => None,
    };
    let Some(input) = input else {
        let known = db::design::list(&mut tx).await?;
        return Err(Failure::NoDesign {
            asked: asked.to_owned(),
            known: known
                .into_iter()
                .map(|listed| listed.name.to_string())
                .collect(),
        });
    };
    let plan = plan(&input);
    Ok((input, plan))
}

/// A plan as plain text.
struct Text<'a> {
    input: &'a Input,
    plan: &'a Plan,
    parts: HashMap<PartId, &'a Part>,
}

impl<'a> Text<'a> {
    fn new(input: &'a Input, plan: &'a Plan) -> Self {
        Self {
            input,
            plan,
            parts: input.parts.iter().map(|part| (part.id, part)).collect(),
        }
    }

    fn part(&self, id: PartId) -> &str {
        self.parts
            .get(&id)
            .map_or("a part that is gone", |part| part.name.as_str())
    }

    fn length(&self, length: Length) -> String {
        length.show(self.input.venue.length_unit)
    }

    fn um(&self, um: i64) -> String {
        self.length(Length::new(um).unwrap_or(Length::ZERO))
    }

    /// An amount in a part's stock unit.
    fn amount(&self, part: Option<PartId>, amount: i64) -> String {
        let part = part.and_then(|id| self.parts.get(&id));
        let unit = part.map_or(StockUnit::Each, |part| part.unit());
        say_amount(unit, amount, self.input.venue.length_unit)
    }

    fn label(&self, bar: crate::model::id::BarId) -> &str {
        self.plan
            .bars
            .iter()
            .find(|planned| planned.bar == bar)
            .map_or("?", |planned| planned.label.as_str())
    }

    fn head(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let design = &self.input.design;
        writeln!(f, "{} ({})", design.name, design.state)?;
        writeln!(
            f,
            "build {}, get-in {}, strike {}",
            design.dates.build_on(),
            design.dates.get_in(),
            design.dates.strike_on()
        )?;
        let count = |wanted: fn(&Serve) -> bool| {
            self.plan
                .bars
                .iter()
                .filter(|bar| wanted(&bar.serve))
                .count()
        };
        writeln!(
            f,
            "{} bars: {} reused, {} to build, {} short",
            self.plan.bars.len(),
            count(|serve| matches!(serve, Serve::Reuse { .. })),
            count(|serve| matches!(serve, Serve::Build(_))),
            count(|serve| matches!(serve, Serve::Short { .. })),
        )?;
        if self.plan.breaks_a_limit() {
            writeln!(f, "THIS PLAN BREAKS A LIMIT: see the checks.")?;
        }
        Ok(())
    }

    fn checks(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "\nChecks")?;
        let mut passed = 0;
        for check in &self.plan.checks {
            if check.state == CheckState::Passed {
                passed += 1;
                continue;
            }
            let state = check.state.label().to_uppercase();
            write!(f, "  {state}: {}: {}", check.about, check.sentence)?;
            writeln!(
                f,
                "{}{}",
                if check.mend.is_empty() { "" } else { " " },
                check.mend
            )?;
        }
        writeln!(f, "  {passed} passed")
    }

    fn bars(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "\nBars")?;
        for bar in &self.plan.bars {
            let how = match &bar.serve {
                Serve::Reuse { tag, lit_um, .. } => {
                    format!("reuse {tag}, {} lit", self.length(*lit_um))
                }
                Serve::Build(build) => format!(
                    "build from {}, {} lit",
                    self.part(build.tape),
                    self.length(build.lit_um)
                ),
                Serve::Short { why } => format!("SHORT: {why}"),
            };
            write!(f, "  {}: {how}", bar.label)?;
            if let Some(output) = bar.output {
                write!(f, "; driver {} output {}", output.driver + 1, output.output)?;
            }
            if let Some(slot) = bar.slot {
                write!(f, "; universe {} slot {}", slot.universe, slot.slot)?;
            }
            writeln!(f)?;
        }
        Ok(())
    }

    fn cuts(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.plan.cuts.is_empty() {
            return Ok(());
        }
        writeln!(f, "\nCuts")?;
        for cut in &self.plan.cuts {
            let source = match &cut.source {
                CutSource::Piece { tag, .. } => tag.to_string(),
                CutSource::Buy { roll_um, nth, .. } => {
                    format!("to buy, {} (no. {nth})", self.length(*roll_um))
                }
            };
            writeln!(f, "  {source}: {}", self.part(cut.part))?;
            for segment in &cut.segments {
                let becomes = match segment.becomes {
                    Becomes::Bar { bar, start, end } => {
                        let mut text = format!("bar {}", self.label(bar));
                        for (side, joint) in [("start", start), ("end", end)] {
                            if joint != Joint::None {
                                let _ = write!(text, ", {side}: {joint}");
                            }
                        }
                        text
                    }
                    Becomes::Extra { .. } => "an extra line".to_owned(),
                    Becomes::Feed => "from a supply to a driver".to_owned(),
                    Becomes::Offcut => "offcut".to_owned(),
                    Becomes::Scrap => "scrap".to_owned(),
                };
                writeln!(
                    f,
                    "    {} to {}: {becomes}",
                    self.amount(Some(cut.part), segment.from),
                    self.amount(Some(cut.part), segment.to)
                )?;
            }
        }
        for proof in &self.plan.proofs {
            let money = match proof.money {
                Proof::Proven if !proof.priced => {
                    "no cut list buys less length (proven); there is no price".to_owned()
                }
                Proof::Within { bound } if !proof.priced => format!(
                    "no cut list buys less than {bound} mm; there is no price, and whether one \
                     buys that is not known"
                ),
                Proof::Proven => "no cut list costs less (proven)".to_owned(),
                Proof::Within { bound } => format!(
                    "no cut list costs less than {}; whether one costs that is not known",
                    crate::units::Money::new(bound)
                        .unwrap_or_default()
                        .show(&self.input.venue.currency)
                ),
                Proof::Open { why } => format!("whether another costs less is not known: {why}"),
            };
            writeln!(f, "  {}: {money}.", self.part(proof.part))?;
        }
        Ok(())
    }

    fn power(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.plan.drivers.is_empty() {
            return Ok(());
        }
        let known = |current: Option<Current>| {
            current.map_or_else(|| "load not known".to_owned(), Current::show)
        };
        writeln!(f, "\nDrivers and supplies (extra-low voltage only)")?;
        for (index, driver) in self.plan.drivers.iter().enumerate() {
            let unit = driver
                .unit
                .as_ref()
                .map_or_else(|| "to buy".to_owned(), |(_, tag)| tag.to_string());
            let address = driver.address.map_or_else(
                || "NO FREE ADDRESS".to_owned(),
                |slot| format!("universe {} address {}", slot.universe, slot.slot),
            );
            writeln!(
                f,
                "  driver {} {unit}: {}, {address}, {} slots",
                index + 1,
                self.part(driver.part),
                driver.slots
            )?;
            for output in &driver.outputs {
                let bars: Vec<_> = output.bars.iter().map(|bar| self.label(*bar)).collect();
                writeln!(
                    f,
                    "    output {}: {}; {}",
                    output.number,
                    bars.join(", "),
                    known(output.current_ma)
                )?;
            }
            for inlet in &driver.inlets {
                let supply = inlet.supply.map_or_else(
                    || "NO SUPPLY".to_owned(),
                    |supply| format!("supply {}", supply + 1),
                );
                writeln!(
                    f,
                    "    inlet {}: {supply}; {}",
                    inlet.number,
                    known(inlet.current_ma)
                )?;
            }
        }
        for (index, supply) in self.plan.supplies.iter().enumerate() {
            let unit = supply
                .unit
                .as_ref()
                .map_or_else(|| "to buy".to_owned(), |(_, tag)| tag.to_string());
            writeln!(
                f,
                "  supply {} {unit}: {}; {} of {} usable, {} terminal pairs",
                index + 1,
                self.part(supply.part),
                known(supply.load_ma),
                supply.usable_ma.show(),
                supply.pairs_used
            )?;
        }
        writeln!(
            f,
            "  The mains side is not planned here: leave it to a qualified person, by local rules."
        )
    }

    fn volts(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let volts = &self.plan.volts;
        if volts.outputs.is_empty() {
            return Ok(());
        }
        writeln!(f, "\nVolts along the bars (worst of every mix of colours)")?;
        for output in &volts.outputs {
            if let Some(why) = &output.unsolved {
                let driver = self.plan.drivers.get(output.output.driver);
                let on = driver.and_then(|driver| {
                    let mut outputs = driver.outputs.iter();
                    outputs.find(|on| on.number == output.output.output)
                });
                let bars = on.map_or(&[][..], |on| on.bars.as_slice());
                let labels: Vec<_> = bars.iter().map(|bar| self.label(*bar)).collect();
                writeln!(f, "  {}: NOT KNOWN: {why}", labels.join(", "))?;
            }
            for bar in &output.bars {
                let low = &bar.lowest;
                write!(
                    f,
                    "  {}: drop {:.1} %, {:.2} V on {} at cut unit {} of {}; least light {:.0} %",
                    self.label(bar.bar),
                    bar.worst_drop_percent,
                    low.value,
                    low.channel.label(),
                    low.cut_unit,
                    bar.cut_units,
                    bar.worst_light_percent
                )?;
                let missing = bar.assumed.iter().filter(|one| one.missing);
                for one in missing {
                    write!(f, "; assumed {} {}", one.what, one.value)?;
                }
                writeln!(f)?;
                for mend in &bar.mends {
                    writeln!(
                        f,
                        "    {}: drop {:.1} %, light {:.0} %, {}. {}",
                        mend.how,
                        mend.drop_percent,
                        mend.light_percent,
                        mend.cost_minor.map_or_else(
                            || "no price known".to_owned(),
                            |cost| cost.show(&self.input.venue.currency)
                        ),
                        mend.words
                    )?;
                }
            }
        }
        for one in &volts.assumed {
            writeln!(f, "  taken: {}: {} ({})", one.what, one.value, one.why)?;
        }
        Ok(())
    }

    fn shortfall(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "\nShortfall")?;
        let short: Vec<_> = self
            .plan
            .needs
            .iter()
            .filter(|need| need.short > 0)
            .collect();
        if short.is_empty() {
            writeln!(f, "  Nothing is short.")?;
        }
        for need in short {
            let amount = |amount| self.amount(need.part, amount);
            writeln!(
                f,
                "  {}: {} short of {} (there {}, due in {}); for {}",
                need.name,
                amount(need.short),
                amount(need.needed),
                amount(need.there),
                amount(need.due),
                need.used_for
            )?;
        }
        Ok(())
    }

    fn shopping(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let currency = &self.input.venue.currency;
        let mut parcels: BTreeMap<&str, Vec<String>> = BTreeMap::new();
        let mut nowhere = Vec::new();
        for need in &self.plan.needs {
            let by_length = need
                .part
                .and_then(|id| self.parts.get(&id))
                .is_some_and(|part| part.unit() != StockUnit::Each);
            let amount = |amount| {
                if by_length {
                    self.um(amount)
                } else {
                    amount.to_string()
                }
            };
            for buy in &need.buy {
                parcels.entry(&buy.supplier_name).or_default().push(format!(
                    "{} × {} of {}: {}; {} left over; order by {}",
                    buy.packs,
                    amount(buy.pack_amount),
                    need.name,
                    buy.cost_minor.show(currency),
                    amount(buy.left_over),
                    buy.order_by
                ));
            }
            if need.short > 0 && need.buy.is_empty() {
                let rolls: Vec<String> = need
                    .unpriced
                    .iter()
                    .map(|it| format!("{} × {}", it.rolls, self.length(it.roll_um)))
                    .collect();
                nowhere.push((&need.name, rolls.join(", ")));
            }
        }
        if parcels.is_empty() && nowhere.is_empty() {
            return Ok(());
        }
        writeln!(f, "\nShopping list")?;
        for (supplier, lines) in parcels {
            writeln!(f, "  {supplier}")?;
            for line in lines {
                writeln!(f, "    {line}")?;
            }
        }
        for (name, rolls) in nowhere {
            writeln!(f, "  no offer is known for {name}")?;
            if !rolls.is_empty() {
                writeln!(f, "    {rolls}")?;
            }
        }
        let cost = &self.plan.cost;
        write!(
            f,
            "  together {}, {} of it for delivery{}",
            cost.planned_minor.show(currency),
            cost.delivery_minor.show(currency),
            if cost.proof.is_proven() {
                "; no other mix of packs costs less"
            } else {
                ""
            }
        )?;
        if let Some(budget) = cost.budget_minor {
            write!(f, "; the budget is {}", budget.show(currency))?;
            if cost.planned_minor > budget {
                write!(f, ": OVER IT")?;
            }
        }
        writeln!(f)
    }
}

impl fmt::Display for Text<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.head(f)?;
        self.bars(f)?;
        self.cuts(f)?;
        self.power(f)?;
        self.volts(f)?;
        self.checks(f)?;
        self.shortfall(f)?;
        self.shopping(f)
    }
}
