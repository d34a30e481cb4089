use std::collections::BTreeSet;

use proptest::{option, prelude::*, sample::subsequence};

use super::*;
use crate::{
    model::{
        channel::{Role, RoleOrder},
        connector::{Connector, Gender},
        id::PartId,
        part::{
            AddressBy, Block, Cable, Coating, Coupler, Data, DataUse, Diffuser, Driver, Fuse,
            FuseFamily, Inlet, Isolation, JointPitch, Lead, Measure, Per, Polarity, Profile,
            Sundry, Supply, Tape, TapeChannel, UseRate,
        },
        text::Name,
    },
    units::{
        ConductorSize, Current, CutPitch, Frequency, Length, PowerPerLength, ResistancePerLength,
        Strand, Voltage,
    },
};

const UNITS: [LengthUnit; 5] = LengthUnit::ALL;

fn length() -> impl Strategy<Value = Length> {
    prop_oneof![
        (1..=Length::MAX).prop_map(|um| Length::new(um).unwrap()),
        (1..=4_000_u32).prop_map(Length::mm),
        (1..=400_i64).prop_map(|inches| Length::new(inches * 25_400).unwrap()),
    ]
}

fn lengths() -> impl Strategy<Value = Vec<Length>> {
    prop::collection::vec(length(), 0..4)
}

fn above_zero<T>(make: fn(i64) -> T) -> impl Strategy<Value = T>
where
    T: std::fmt::Debug,
{
    (1..=1_000_000_i64).prop_map(make)
}

fn volts() -> impl Strategy<Value = Voltage> {
    above_zero(|mv| Voltage::new(mv).unwrap())
}

fn amps() -> impl Strategy<Value = Current> {
    above_zero(|ma| Current::new(ma).unwrap())
}

/// Names hold what the lists' own marks are, on purpose.
fn name() -> impl Strategy<Value = Name> {
    "[A-Za-z0-9 ,:;/()+.-]{0,12}[a-z0-9]( male|, female:)?"
        .prop_map(|text| Name::parse(&text).unwrap())
}

fn colour_name() -> impl Strategy<Value = Name> {
    "[a-z][a-z /-]{0,10}".prop_map(|text| Name::parse(&text).unwrap())
}

fn size() -> impl Strategy<Value = ConductorSize> {
    prop_oneof![
        (-3..=40_i8).prop_map(|awg| ConductorSize::awg(awg).unwrap()),
        (1..=1_000_000_u32).prop_map(|area| ConductorSize::metric(area).unwrap()),
    ]
}

fn roles() -> impl Strategy<Value = RoleOrder> {
    let mut all = vec![Role::Common, Role::Unused, Role::Unused];
    all.extend(Channel::ALL.iter().map(|channel| Role::Colour(*channel)));
    subsequence(all, 2..=8)
        .prop_shuffle()
        .prop_map(|list| RoleOrder::new(list).unwrap())
}

fn plug() -> impl Strategy<Value = Connector> {
    (
        name(),
        prop::sample::select(Gender::ALL),
        option::of(roles()),
    )
        .prop_map(|(family, gender, pins)| Connector {
            family,
            gender,
            pins,
        })
}

fn word<T: Clone + std::fmt::Debug + 'static>(all: &'static [T]) -> impl Strategy<Value = T> {
    prop::sample::select(all)
}

fn power() -> impl Strategy<Value = PowerPerLength> {
    any::<PowerPerLength>()
}

fn tape() -> impl Strategy<Value = PartSpec> {
    let colours = subsequence(Channel::ALL.to_vec(), 1..=7).prop_flat_map(|list| {
        list.into_iter()
            .map(|channel| {
                (option::of(1000..=20_000_u16), option::of(power())).prop_map(
                    move |(kelvin, power_mw_per_m)| TapeChannel {
                        channel,
                        kelvin,
                        power_mw_per_m,
                    },
                )
            })
            .collect::<Vec<_>>()
    });
    let pads = any::<bool>();
    let pitch = (1..=10_000_u32, 1..=10_000_000_u32)
        .prop_filter_map("finer than a micrometre", |(units, um)| {
            CutPitch::new(units, um).ok()
        });
    let joints = option::of((1..=1000_u32).prop_flat_map(|every_units| {
        (0..every_units).prop_map(move |offset_units| JointPitch {
            every_units,
            offset_units,
        })
    }));
    (
        (volts(), length(), colours, pads, pitch, joints),
        option::of(word(Coating::ALL)),
        option::of(word(Polarity::ALL)),
        option::of(1..=5000_u32),
        option::of(1..=64_u8),
        option::of(any::<ResistancePerLength>()),
        option::of(any::<ResistancePerLength>()),
        lengths(),
        (option::of(plug()), option::of(plug()), option::of(length())),
    )
        .prop_map(
            |(main, coating, common, leds, series, trace_c, trace_k, rolls, more)| {
                let (voltage_mv, width_um, channels, pads, pitch, joints) = main;
                let (roll_start, roll_end, longest_run_um) = more;
                let pads = pads.then(|| {
                    let mut list = vec![Role::Common];
                    list.extend(channels.iter().map(|c| Role::Colour(c.channel)));
                    RoleOrder::new(list).unwrap()
                });
                PartSpec::Tape(Tape {
                    voltage_mv,
                    width_um,
                    channels,
                    coating,
                    pads,
                    common,
                    pitch,
                    joints,
                    leds_per_m: leds,
                    leds_in_series: series,
                    trace_common_uohm_per_m: trace_c,
                    trace_channel_uohm_per_m: trace_k,
                    rolls_um: rolls,
                    roll_start,
                    roll_end,
                    longest_run_um,
                })
            },
        )
}

fn profile() -> impl Strategy<Value = PartSpec> {
    (
        lengths(),
        length(),
        word(Diffuser::ALL),
        option::of(power()),
        any::<bool>(),
        option::of(length()),
    )
        .prop_map(
            |(bars_um, inner_width_um, diffuser, heat_mw_per_m, may_cut, kerf_um)| {
                PartSpec::Profile(Profile {
                    bars_um,
                    inner_width_um,
                    diffuser,
                    heat_mw_per_m,
                    may_cut,
                    kerf_um,
                })
            },
        )
}

fn lead() -> impl Strategy<Value = PartSpec> {
    (
        plug(),
        option::of(length()),
        option::of(size()),
        option::of(amps()),
    )
        .prop_map(|(connector, tail_um, conductor, rating_ma)| {
            PartSpec::Lead(Lead {
                connector,
                tail_um,
                conductor,
                rating_ma,
            })
        })
}

fn coupler() -> impl Strategy<Value = PartSpec> {
    (plug(), plug(), option::of(amps()))
        .prop_map(|(a, b, rating_ma)| PartSpec::Coupler(Coupler { a, b, rating_ma }))
}

fn block() -> impl Strategy<Value = PartSpec> {
    (
        1..=200_u16,
        option::of(size()),
        option::of(size()),
        option::of(amps()),
    )
        .prop_map(|(ways, thinnest, thickest, rating_ma)| {
            PartSpec::Block(Block {
                ways,
                thinnest,
                thickest,
                rating_ma,
            })
        })
}

fn cable() -> impl Strategy<Value = PartSpec> {
    (
        1..=12_u8,
        option::of(size()),
        option::of(word(&Strand::ALL)),
        prop::collection::vec(colour_name(), 12),
        any::<bool>(),
        lengths(),
        option::of(amps()),
    )
        .prop_map(
            |(conductors, conductor, strand, colours, named, reels_um, rating_ma)| {
                let named = if named { usize::from(conductors) } else { 0 };
                PartSpec::Cable(Cable {
                    conductors,
                    conductor,
                    strand,
                    colours: colours[..named].to_vec(),
                    reels_um,
                    rating_ma,
                })
            },
        )
}

fn driver() -> impl Strategy<Value = PartSpec> {
    let inlets = (1..=128_u16).prop_flat_map(|outputs| {
        (
            Just((1..=outputs).collect::<Vec<_>>()).prop_shuffle(),
            prop::collection::vec(1..=6_usize, 128),
        )
            .prop_map(move |(order, sizes)| {
                let mut rest = order.as_slice();
                let mut inlets = Vec::new();
                for size in sizes {
                    let (mine, others) = rest.split_at(size.min(rest.len()));
                    if !mine.is_empty() {
                        inlets.push(Inlet {
                            outputs: mine.to_vec(),
                        });
                    }
                    rest = others;
                }
                (outputs, inlets)
            })
    });
    (
        (
            inlets,
            1..=8_u8,
            option::of(roles()),
            option::of(word(Polarity::ALL)),
        ),
        (volts(), volts()),
        prop::array::uniform4(option::of(amps())),
        word(Isolation::ALL),
        (
            1..=512_u16,
            option::of(name()),
            option::of(prop::sample::select(&[8_u8, 16])),
        ),
        word(AddressBy::ALL),
        option::of(name()),
        option::of(any::<Frequency>()),
    )
        .prop_map(
            |(main, (v1, v2), limits, isolation, slots, address_by, data_connector, pwm_hz)| {
                let ((outputs, inlets), channels_per_output, terminals, common) = main;
                let (slots, slot_order, bits) = slots;
                let [
                    channel_limit_ma,
                    output_limit_ma,
                    inlet_limit_ma,
                    whole_limit_ma,
                ] = limits;
                PartSpec::Driver(Driver {
                    outputs,
                    channels_per_output,
                    terminals,
                    common,
                    voltage_min_mv: v1.min(v2),
                    voltage_max_mv: v1.max(v2),
                    channel_limit_ma,
                    output_limit_ma,
                    inlet_limit_ma,
                    whole_limit_ma,
                    inlets,
                    isolation,
                    slots,
                    slot_order,
                    bits,
                    address_by,
                    data_connector,
                    pwm_hz,
                })
            },
        )
}

fn supply() -> impl Strategy<Value = PartSpec> {
    (
        (volts(), amps(), option::of(1..=40_u8)),
        (option::of(volts()), option::of(volts())),
        (option::of(amps()), option::of(amps())),
        prop::array::uniform3(option::of(1..=100_u8)),
        option::of(any::<bool>()),
    )
        .prop_map(|(main, mains, input, percents, limited_power)| {
            let (voltage_mv, rated_ma, terminal_pairs) = main;
            let [power_factor_percent, efficiency_percent, load_percent] = percents;
            PartSpec::Supply(Supply {
                voltage_mv,
                rated_ma,
                terminal_pairs,
                mains_min_mv: mains.0,
                mains_max_mv: mains.1,
                input_ma: input.0,
                inrush_ma: input.1,
                power_factor_percent,
                efficiency_percent,
                limited_power,
                load_percent,
            })
        })
}

fn data() -> impl Strategy<Value = PartSpec> {
    (
        word(DataUse::ALL),
        option::of(length()),
        option::of(1..=64_u8),
        option::of(name()),
    )
        .prop_map(|(used_as, length_um, outputs, connector)| {
            PartSpec::Data(Data {
                used_as,
                length_um: length_um.filter(|_| used_as == DataUse::Cable),
                outputs: outputs.filter(|_| used_as == DataUse::Splitter),
                connector,
            })
        })
}

fn sundry() -> impl Strategy<Value = PartSpec> {
    (
        word(Measure::ALL),
        option::of((word(Per::ALL), 1..=1_000_000_000_u32)),
        option::of((1..=i64::MAX).prop_map(PartId)),
        option::of((word(FuseFamily::ALL), any::<Current>())),
    )
        .prop_map(|(measure, rate, goes_with, fuse)| {
            // A fuse is counted each, goes by no rate and is of more than nothing.
            let fuse = fuse
                .map(|(family, rating_ma)| Fuse { family, rating_ma })
                .filter(|fuse| fuse.rating_ma > Current::ZERO && measure == Measure::Each);
            PartSpec::Sundry(Sundry {
                measure,
                use_rate: rate
                    .filter(|_| fuse.is_none())
                    .map(|(per, thousandths)| UseRate { per, thousandths }),
                goes_with,
                fuse,
            })
        })
}

fn spec() -> impl Strategy<Value = PartSpec> {
    prop_oneof![
        tape(),
        profile(),
        lead(),
        coupler(),
        block(),
        cable(),
        driver(),
        supply(),
        data(),
        sundry(),
    ]
}

fn read_back(spec: &PartSpec, unit: LengthUnit) -> Result<PartSpec, Vec<SpecError>> {
    let shown = show(spec, unit);
    parse(spec.kind(), unit, |attribute| {
        shown
            .iter()
            .find(|shown| shown.attribute.name == attribute.name)
            .map_or("", |shown| shown.text.as_str())
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn what_is_shown_is_read_back_the_same(spec in spec(), unit in prop::sample::select(&UNITS)) {
        prop_assert_eq!(read_back(&spec, unit), Ok(spec));
    }

    #[test]
    fn nothing_typed_makes_a_panic(texts in prop::collection::vec("\\PC{0,30}", 18), kind in prop::sample::select(Kind::ALL)) {
        let mut next = 0;
        let positions: Vec<_> = of(kind).iter().map(|a| { next += 1; (a.name, next - 1) }).collect();
        let _ = parse(kind, LengthUnit::Mm, |attribute| {
            positions.iter().find(|p| p.0 == attribute.name).map_or("", |p| texts[p.1 % texts.len()].as_str())
        });
    }
}

fn typed(kind: Kind, texts: &[(&str, &'static str)]) -> Result<PartSpec, Vec<SpecError>> {
    parse(kind, LengthUnit::Mm, |attribute| {
        texts
            .iter()
            .find(|(name, _)| *name == attribute.name)
            .map_or("", |(_, text)| text)
    })
}

const SIMPLE_TAPE: [(&str, &str); 4] = [
    ("voltage_mv", "24"),
    ("width_um", "10"),
    ("channels", "RGBW"),
    ("pitch", "3 per 150 mm"),
];

#[test]
fn each_kind_asks_for_every_field_of_its_type_and_no_other() {
    for example in crate::model::ready_made::all() {
        let kind = example.spec.kind();
        let of_type: BTreeSet<_> = values(&example.spec)
            .into_iter()
            .map(|(name, _)| name)
            .collect();
        let asked: BTreeSet<_> = of(kind)
            .iter()
            .map(|a| a.name.to_owned())
            .chain(["kind".to_owned()])
            .collect();
        assert_eq!(asked, of_type, "{kind}");
    }
}

#[test]
fn columns_are_told_apart_within_a_kind() {
    for kind in Kind::ALL {
        let columns: BTreeSet<_> = of(*kind).iter().map(Attribute::column).collect();
        assert_eq!(columns.len(), of(*kind).len(), "{kind}");
        for attribute in of(*kind) {
            assert!(!attribute.meaning.is_empty(), "{}", attribute.name);
        }
    }
}

#[test]
fn figures_are_read_with_their_colours() {
    let mut texts = SIMPLE_TAPE;
    texts[2].1 = "white 4000K 9,6 W/m; red 4.8; green 4.8 W/m, blue";
    let Ok(PartSpec::Tape(tape)) = typed(Kind::Tape, &texts) else {
        panic!("not read");
    };
    let figures: Vec<_> = tape
        .channels
        .iter()
        .map(|c| {
            (
                c.channel,
                c.kelvin,
                c.power_mw_per_m.map(PowerPerLength::get),
            )
        })
        .collect();
    assert_eq!(
        figures,
        [
            (Channel::Red, None, Some(4800)),
            (Channel::Green, None, Some(4800)),
            (Channel::Blue, None, None),
            (Channel::White, Some(4000), Some(9600)),
        ]
    );
}

#[test]
fn what_is_wrong_is_said_at_each_field() {
    let mut texts = SIMPLE_TAPE;
    texts[0].1 = "-24 V";
    texts[1].1 = "";
    texts[2].1 = "mauve";
    let errors = typed(Kind::Tape, &texts).unwrap_err();
    let fields: Vec<_> = errors.iter().map(|error| error.field).collect();
    assert_eq!(fields, ["voltage_mv", "width_um", "channels"]);
    assert!(errors[1].message.contains("10 mm"), "{}", errors[1].message);

    let driver = [
        ("outputs", "4"),
        ("channels_per_output", "4"),
        ("voltage_min_mv", "12"),
        ("voltage_max_mv", "24"),
        ("inlets", "1-2; 4"),
        ("slots", "16"),
    ];
    assert_eq!(typed(Kind::Driver, &driver).unwrap_err()[0].field, "inlets");

    let splitter = [("use", "splitter"), ("length_um", "5 m")];
    assert_eq!(
        typed(Kind::Data, &splitter).unwrap_err()[0].field,
        "length_um"
    );
}

#[test]
fn connectors_are_read_as_people_write_them() {
    let read = |text: &'static str| match typed(Kind::Lead, &[("connector", text)]) {
        Ok(PartSpec::Lead(lead)) => {
            let pins = lead.connector.pins.as_ref().map(RoleOrder::count);
            Ok((
                lead.connector.family.to_string(),
                lead.connector.gender,
                pins,
            ))
        }
        other => Err(format!("{other:?}")),
    };
    assert_eq!(
        read("five-pin inline, female: common, red, green, blue, white"),
        Ok(("five-pin inline".into(), Gender::Female, Some(5)))
    );
    assert_eq!(
        read("Five-pin inline MALE"),
        Ok(("Five-pin inline".into(), Gender::Male, None))
    );
    assert!(read("five-pin inline").is_err());
    assert!(read(", male").is_err());
}

#[test]
fn use_rates_follow_how_the_sundry_is_counted() {
    let rate = |measure: &'static str, text: &'static str| match typed(
        Kind::Sundry,
        &[("measure", measure), ("use_rate", text)],
    ) {
        Ok(PartSpec::Sundry(sundry)) => sundry.use_rate.map(|rate| (rate.per, rate.thousandths)),
        _ => None,
    };
    assert_eq!(rate("each", "2.5 per bar"), Some((Per::Bar, 2_500)));
    assert_eq!(rate("each", "1 per metre"), Some((Per::Metre, 1_000)));
    assert_eq!(
        rate("each", "4 per metre in profile"),
        Some((Per::ProfileMetre, 4_000))
    );
    assert_eq!(
        rate("length", "30 mm per joint"),
        Some((Per::Joint, 30_000))
    );
    assert_eq!(
        rate("length", "30 per soldered joint"),
        Some((Per::Joint, 30_000))
    );
    assert_eq!(rate("each", "30 mm per joint"), None);
    assert_eq!(rate("each", "0 per bar"), None);
}

#[test]
fn a_fuse_is_read_with_its_rating_and_make() {
    let fuse =
        |text: &'static str| match typed(Kind::Sundry, &[("measure", "each"), ("fuse", text)]) {
            Ok(PartSpec::Sundry(sundry)) => {
                let fuse = sundry.fuse.ok_or("no fuse")?;
                Ok((fuse.family, fuse.rating_ma.get()))
            }
            Ok(_) => Err("another kind"),
            Err(_) => Err("refused"),
        };
    for text in ["5 A blade", "blade fuse, 5 A", "Blade 5", "5000 mA BLADE"] {
        assert_eq!(fuse(text), Ok((FuseFamily::Blade, 5_000)), "{text}");
    }
    for text in [
        "3.15 A cartridge",
        "Cartridge fuse 5 × 20 mm, 3.15 A",
        "cartridge (5x20) 3,15 A",
    ] {
        assert_eq!(fuse(text), Ok((FuseFamily::Cartridge, 3_150)), "{text}");
    }
    // Half of it is neither, and of two makes none is meant.
    for text in [
        "5 A",
        "blade",
        "5 A blade or cartridge",
        "5 V blade",
        "0 A blade",
        "5 × 20 mm cartridge",
    ] {
        assert_eq!(fuse(text), Err("refused"), "{text}");
    }
    assert_eq!(fuse(""), Err("no fuse"));
}

#[test]
fn a_fuse_is_counted_each_and_not_used_up() {
    let wrong = |more: &[(&'static str, &'static str)]| {
        let fields = [&[("fuse", "5 A blade")], more].concat();
        typed(Kind::Sundry, &fields).map_err(|why| why[0].field)
    };
    assert!(wrong(&[("measure", "each")]).is_ok());
    assert_eq!(wrong(&[("measure", "length")]), Err("measure"));
    assert_eq!(
        wrong(&[("measure", "each"), ("use_rate", "1 per bar")]),
        Err("use_rate")
    );
}

#[test]
fn metric_goods_stay_metric_in_a_venue_that_works_in_feet() {
    assert_eq!(show_length(Length::mm(5000), LengthUnit::Ft), "5 m");
    assert_eq!(show_length(Length::mm(10), LengthUnit::In), "10 mm");
    assert_eq!(
        show_length(Length::new(2_286_000).unwrap(), LengthUnit::Ft),
        "7' 6\""
    );
    assert_eq!(show_length(Length::mm(5000), LengthUnit::Mm), "5000 mm");
}

#[test]
fn unknowns_name_what_waits_for_them() {
    let spec = typed(Kind::Tape, &SIMPLE_TAPE).unwrap();
    let texts: Vec<_> = unknowns(&spec).iter().map(Unknown::to_string).collect();
    assert!(
        texts.contains(
            &"unknown: trace resistance of the common – needed for the voltage along a bar"
                .to_owned()
        ),
        "{texts:#?}"
    );
    assert!(
        texts
            .iter()
            .any(|text| text.contains("watts per metre of red"))
    );
    assert!(
        texts
            .iter()
            .any(|text| text.contains("colour temperature of white"))
    );
    assert!(!texts.iter().any(|text| text.contains("coating")));

    let driver = typed(
        Kind::Driver,
        &[
            ("outputs", "8"),
            ("channels_per_output", "4"),
            ("voltage_min_mv", "12"),
            ("voltage_max_mv", "24"),
            ("inlets", "1-2; 3-4; 5-6; 7-8"),
            ("slots", "32"),
        ],
    )
    .unwrap();
    assert!(
        unknowns(&driver)
            .iter()
            .any(|unknown| unknown.name == "isolation")
    );
}
