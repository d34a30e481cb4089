use proptest::prelude::*;

use super::{super::shape::along, *};
use crate::{
    model::{
        channel::{Channel, Channels},
        design::{Choices, State},
        fixture::Fed,
        id::DesignId,
        text::Note,
    },
    units::ShowDates,
};

fn bar(id: i64, x: i64, y: i64, angle_mdeg: i32, length: i64) -> Bar {
    Bar {
        id: BarId(id),
        label: Name::parse(&format!("Bar {id}")).unwrap(),
        length_um: Length::new(length).unwrap(),
        shorter_um: Length::ZERO,
        longer_um: Length::ZERO,
        channels: Channels::new(vec![Channel::White]).unwrap(),
        voltage_mv: None,
        diffused: false,
        fed: Fed::OneEnd,
        frame: None,
        x_um: SignedLength::new(x).unwrap(),
        y_um: SignedLength::new(y).unwrap(),
        angle_mdeg,
        group: String::new(),
        feed_place: String::new(),
        cable_um: Length::ZERO,
        tape: None,
        profile: None,
        fixture: None,
    }
}

fn frame(id: i64, x: i64, y: i64, width: i64, height: i64) -> Frame {
    Frame {
        id: FrameId(id),
        label: Name::parse(&format!("Frame {id}")).unwrap(),
        x_um: SignedLength::new(x).unwrap(),
        y_um: SignedLength::new(y).unwrap(),
        width_um: Length::new(width).unwrap(),
        height_um: Length::new(height).unwrap(),
        thing: None,
    }
}

fn design(bars: Vec<Bar>, frames: Vec<Frame>) -> Design {
    let day = jiff::civil::date(2026, 3, 5);
    Design {
        id: DesignId(1),
        name: Name::parse("Set").unwrap(),
        state: State::Draft,
        dates: ShowDates::new(day, day, day).unwrap(),
        budget_minor: None,
        note: Note::default(),
        choices: Choices::default(),
        frames,
        bars,
        extras: Vec::new(),
        left_alone: Vec::new(),
        not_from: Vec::new(),
        version: 1,
    }
}

fn on(mut design: Design, step: &Step) -> Result<Design, ArrangeError> {
    let (mut bar, mut frame) = (100, 100);
    let mut ids = Ids {
        bar: &mut bar,
        frame: &mut frame,
    };
    step.carry_out(&mut design, &mut ids).map(|()| design)
}

fn ids(list: &[i64]) -> Vec<BarId> {
    list.iter().copied().map(BarId).collect()
}

fn at(design: &Design) -> Vec<(i64, i64, i32, i64)> {
    let of = |bar: &Bar| {
        (
            bar.x_um.get(),
            bar.y_um.get(),
            bar.angle_mdeg,
            bar.length_um.get(),
        )
    };
    design.bars.iter().map(of).collect()
}

fn um(value: i64) -> SignedLength {
    SignedLength::new(value).unwrap()
}

fn mirror(bars: &[i64], mirror: Mirror, at: Option<i64>, copy: bool) -> Step {
    Step::Mirror {
        bars: ids(bars),
        frames: vec![],
        mirror,
        at_um: at.map(um),
        copy,
    }
}

fn align(bars: &[i64], frames: &[i64], to: Align) -> Step {
    Step::Align {
        bars: ids(bars),
        frames: frames.iter().copied().map(FrameId).collect(),
        to,
    }
}

#[test]
fn a_frame_takes_along_what_hangs_on_it() {
    let mut hung = bar(1, 10, 10, 0, 100);
    hung.frame = Some(FrameId(7));
    let set = design(
        vec![hung, bar(2, 0, 0, 0, 50)],
        vec![frame(7, 0, 0, 500, 500)],
    );
    let step = Step::Move {
        bars: ids(&[1]),
        frames: vec![FrameId(7)],
        dx_um: um(5),
        dy_um: um(-3),
    };
    let moved = on(set, &step).unwrap();
    // Once, although the bar is named and hangs on the frame.
    assert_eq!(at(&moved), [(15, 7, 0, 100), (0, 0, 0, 50)]);
    assert_eq!(
        (moved.frames[0].x_um.get(), moved.frames[0].y_um.get()),
        (5, -3)
    );
}

#[test]
fn turning_about_the_middle_start_and_all() {
    let set = || design(vec![bar(1, 0, 0, 0, 1000)], vec![]);
    let turn = |turn_mdeg, about| Step::Turn {
        bars: ids(&[1]),
        turn_mdeg,
        about,
    };
    let about = |by, about| at(&on(set(), &turn(by, about)).unwrap());
    assert_eq!(about(90_000, About::Middle), [(500, -500, 90_000, 1000)]);
    assert_eq!(about(90_000, About::Start), [(0, 0, 90_000, 1000)]);
    assert_eq!(about(-90_000, About::All), [(500, 500, -90_000, 1000)]);
    // A third of a right angle: cos 30° = √3 / 2, sin 30° = 1 / 2.
    assert_eq!(about(30_000, About::Middle), [(67, -250, 30_000, 1000)]);
    assert_eq!(
        on(set(), &turn(360_001, About::Middle)),
        Err(ArrangeError::Angle)
    );
    // Two bars as one: the pair turns about the middle of its edges.
    let pair = design(vec![bar(1, 0, 0, 0, 1000), bar(2, 0, 400, 0, 1000)], vec![]);
    let step = Step::Turn {
        bars: ids(&[1, 2]),
        turn_mdeg: 90_000,
        about: About::All,
    };
    assert_eq!(
        at(&on(pair, &step).unwrap()),
        [(700, -300, 90_000, 1000), (300, -300, 90_000, 1000)]
    );
}

#[test]
fn a_new_length_keeps_the_end_that_is_told() {
    let set = || design(vec![bar(1, 0, 0, 90_000, 1000)], vec![]);
    let resize = |keep| Step::Resize {
        bars: ids(&[1]),
        length_um: Length::new(600).unwrap(),
        keep,
    };
    let kept = |keep| at(&on(set(), &resize(keep)).unwrap());
    assert_eq!(kept(Keep::Start), [(0, 0, 90_000, 600)]);
    assert_eq!(kept(Keep::Middle), [(0, 200, 90_000, 600)]);
    assert_eq!(kept(Keep::End), [(0, 400, 90_000, 600)]);
    let lengthen = |by| Step::Lengthen {
        bars: ids(&[1]),
        by_um: um(by),
        keep: Keep::Start,
    };
    assert_eq!(at(&on(set(), &lengthen(-999)).unwrap())[0].3, 1);
    assert!(matches!(
        on(set(), &lengthen(-1000)),
        Err(ArrangeError::NoLength(_))
    ));
    assert!(matches!(
        on(set(), &lengthen(1_000_000_000)),
        Err(ArrangeError::TooLong(_))
    ));
}

#[test]
fn copies_stand_at_even_steps_under_free_numbers_and_take_no_fixture_along() {
    let mut first = bar(1, 0, 0, 90_000, 1000);
    first.fixture = Some(crate::model::id::ThingId(9));
    let set = design(vec![first, bar(2, 50, 0, 0, 10)], vec![]);
    let step = Step::Copy {
        bars: ids(&[1]),
        frames: vec![],
        copies: 3,
        dx_um: um(300),
        dy_um: um(-7),
    };
    let copied = on(set, &step).unwrap();
    assert_eq!(
        at(&copied)[2..],
        [
            (300, -7, 90_000, 1000),
            (600, -14, 90_000, 1000),
            (900, -21, 90_000, 1000)
        ]
    );
    let labels: Vec<_> = copied.bars.iter().map(|bar| bar.label.as_str()).collect();
    assert_eq!(labels, ["Bar 1", "Bar 2", "Bar 3", "Bar 4", "Bar 5"]);
    assert_eq!(copied.bars[2].id, BarId(100));
    assert!(copied.bars[2].fixture.is_none());
    assert!(copied.bars[0].fixture.is_some());
}

#[test]
fn a_copied_frame_has_its_own_bars() {
    let mut hung = bar(1, 10, 10, 0, 100);
    hung.frame = Some(FrameId(7));
    let set = design(vec![hung], vec![frame(7, 0, 0, 500, 500)]);
    let step = Step::Copy {
        bars: vec![],
        frames: vec![FrameId(7)],
        copies: 2,
        dx_um: um(600),
        dy_um: um(0),
    };
    let copied = on(set, &step).unwrap();
    let hung: Vec<_> = copied
        .bars
        .iter()
        .map(|bar| bar.frame.map(|id| id.0))
        .collect();
    assert_eq!(hung, [Some(7), Some(100), Some(101)]);
    assert_eq!(copied.frames[2].x_um.get(), 1200);
    assert_eq!(copied.frames[1].label.as_str(), "Frame 8");
}

#[test]
fn more_bars_than_a_set_holds_are_refused_before_any_is_made() {
    let set = design(vec![bar(1, 0, 0, 0, 10)], vec![]);
    let step = |copies| Step::Copy {
        bars: ids(&[1]),
        frames: vec![],
        copies,
        dx_um: um(10),
        dy_um: um(0),
    };
    assert_eq!(on(set.clone(), &step(999)).unwrap().bars.len(), 1000);
    let refused = on(set.clone(), &step(1000)).unwrap_err();
    assert_eq!(refused.field(&step(1000)), "copies");
    assert!(refused.to_string().contains("1001"), "{refused}");
    assert_eq!(on(set.clone(), &step(0)), Err(ArrangeError::Copies));
    assert_eq!(on(set, &step(1001)), Err(ArrangeError::Copies));
}

#[test]
fn mirrored_bars_still_begin_at_their_left_or_lower_end() {
    // At the upright line x = 2000: a level, an upright and a leaning bar.
    let set = design(
        vec![
            bar(1, 0, 0, 0, 1000),
            bar(2, 500, 0, 90_000, 1000),
            bar(3, 0, 0, 60_000, 1000),
        ],
        vec![],
    );
    let across = on(
        set.clone(),
        &mirror(&[1, 2, 3], Mirror::Across, Some(2000), false),
    )
    .unwrap();
    // The leaning one ends at (500, 866): cos 60° = 1 / 2, sin 60° = √3 / 2.
    assert_eq!(
        at(&across),
        [
            (3000, 0, 0, 1000),
            (3500, 0, 90_000, 1000),
            (3500, 866, -60_000, 1000)
        ]
    );
    let up = on(set, &mirror(&[1, 2], Mirror::Up, Some(500), false)).unwrap();
    assert_eq!(at(&up)[..2], [(0, 1000, 0, 1000), (500, 0, 90_000, 1000)]);
    // Without a line: at the middle of what is mirrored; the image beside what stays.
    let set = design(vec![bar(1, 0, 0, 0, 10), bar(2, 90, 0, 0, 11)], vec![]);
    let both = on(set, &mirror(&[1, 2], Mirror::Across, None, true)).unwrap();
    assert_eq!(
        at(&both),
        [(0, 0, 0, 10), (90, 0, 0, 11), (91, 0, 0, 10), (0, 0, 0, 11)]
    );
}

#[test]
fn edges_middles_and_even_steps() {
    let set = || {
        design(
            vec![
                bar(1, 0, 0, 0, 100),
                bar(2, 30, 50, 90_000, 40),
                bar(3, 200, 10, 0, 20),
            ],
            vec![],
        )
    };
    let to = |to| at(&on(set(), &align(&[1, 2, 3], &[], to)).unwrap());
    let xs = |how| to(how).iter().map(|it| it.0).collect::<Vec<_>>();
    let ys = |how| to(how).iter().map(|it| it.1).collect::<Vec<_>>();
    assert_eq!(xs(Align::Left), [0, 0, 0]);
    assert_eq!(xs(Align::Right), [120, 220, 200]);
    assert_eq!(ys(Align::Top), [90, 50, 90]);
    assert_eq!(ys(Align::Bottom), [0, 0, 0]);
    assert_eq!(xs(Align::CentreAcross), [60, 110, 100]);
    assert_eq!(ys(Align::CentreUp), [45, 25, 45]);
    // Middles at 50, 30 and 210: the furthest left is the upright one.
    assert_eq!(xs(Align::SpreadAcross), [70, 30, 200]);
    assert_eq!(ys(Align::SpreadUp), [0, 50, 35]);
    assert_eq!(
        on(set(), &align(&[1], &[], Align::Left)),
        Err(ArrangeError::TooFew(2))
    );
    assert_eq!(
        on(set(), &align(&[1, 2], &[], Align::SpreadUp)),
        Err(ArrangeError::TooFew(3))
    );
}

#[test]
fn a_frame_is_brought_into_line_as_one() {
    let mut hung = bar(1, 110, 10, 0, 5);
    hung.frame = Some(FrameId(7));
    let set = design(
        vec![hung, bar(2, 0, 0, 0, 10)],
        vec![frame(7, 100, 0, 50, 50)],
    );
    let left = on(set, &align(&[1, 2], &[7], Align::Left)).unwrap();
    assert_eq!(at(&left), [(10, 10, 0, 5), (0, 0, 0, 10)]);
    assert_eq!(left.frames[0].x_um.get(), 0);
}

#[test]
fn what_was_taken_out_comes_back_on_its_frame() {
    let mut hung = bar(1, 10, 10, 0, 100);
    hung.frame = Some(FrameId(7));
    let mut stays = bar(2, 20, 20, 0, 100);
    stays.frame = Some(FrameId(7));
    let set = design(vec![hung.clone(), stays], vec![frame(7, 0, 0, 500, 500)]);
    let remove = Step::Remove {
        bars: ids(&[1]),
        frames: vec![FrameId(7)],
    };
    let less = on(set.clone(), &remove).unwrap();
    assert_eq!((less.bars.len(), less.frames.len()), (1, 0));
    assert_eq!(less.bars[0].frame, None);
    let restore = Step::Restore {
        bars: vec![hung],
        at: vec![0],
        frames: vec![FrameBack {
            frame: frame(7, 0, 0, 500, 500),
            bars: ids(&[2]),
        }],
    };
    let back = on(less, &restore).unwrap();
    let of: Vec<_> = back.bars.iter().map(|bar| bar.frame).collect();
    assert_eq!(of, [Some(FrameId(100)), Some(FrameId(100))]);
    assert_eq!(back.bars[0].label.as_str(), "Bar 1");
}

#[test]
fn what_is_not_there_or_too_far_is_told_with_its_field() {
    let set = design(vec![bar(1, 0, 0, 0, 10)], vec![]);
    let step = |bars: &[i64], dx| Step::Move {
        bars: ids(bars),
        frames: vec![],
        dx_um: um(dx),
        dy_um: um(0),
    };
    let why = |step: &Step| {
        let why = on(set.clone(), step).unwrap_err();
        (why.field(step), why.to_string())
    };
    assert_eq!(why(&step(&[], 1)).0, "bars");
    assert!(why(&step(&[9], 1)).1.contains('9'));
    let far = on(
        design(vec![bar(1, 999_999_999, 0, 0, 10)], vec![]),
        &step(&[1], 2),
    );
    assert_eq!(far.unwrap_err().field(&step(&[1], 2)), "dx_um");
    let hang = Step::Hang {
        bars: ids(&[1]),
        frame: Some(FrameId(3)),
    };
    assert_eq!(why(&hang).0, "frame");
}

proptest! {
    /// Back and forth ends where it began, up to the one rounding of each way.
    #[test]
    fn mirroring_twice_and_turning_back_are_no_change(
        x in -9_000_000_i64..9_000_000, y in -9_000_000_i64..9_000_000,
        angle in -360_000_i32..=360_000, length in 1_i64..9_000_000,
        line in -9_000_000_i64..9_000_000, by in -180_000_i32..=180_000,
    ) {
        let near = |one: &Design, two: &Design| {
            let ends = |set: &Design| {
                let (x, y) = along(&set.bars[0], 1.0);
                let it = Bounds::of_bar(&set.bars[0]);
                (x + y, it)
            };
            let (one, two) = (ends(one).1, ends(two).1);
            (one.left - two.left).abs() <= 2 && (one.right - two.right).abs() <= 2
                && (one.low - two.low).abs() <= 2 && (one.high - two.high).abs() <= 2
        };
        let set = design(vec![bar(1, x, y, angle, length)], vec![]);
        for way in [Mirror::Across, Mirror::Up] {
            let step = mirror(&[1], way, Some(line), false);
            let once = on(set.clone(), &step).unwrap();
            prop_assert_eq!(once.bars[0].length_um.get(), length);
            let edges = Bounds::of_bar(&once.bars[0]);
            let was = Bounds::of_bar(&set.bars[0]);
            // The image lies on the other side of the line, as far from it.
            match way {
                Mirror::Across => {
                    prop_assert!((edges.left - (2 * line - was.right)).abs() <= 1);
                    prop_assert!((edges.low - was.low).abs() <= 1);
                }
                Mirror::Up => prop_assert!((edges.low - (2 * line - was.high)).abs() <= 1),
            }
            prop_assert!(near(&on(once, &step).unwrap(), &set));
        }
        let turn = |turn_mdeg| Step::Turn { bars: ids(&[1]), turn_mdeg, about: About::Middle };
        let back = on(on(set.clone(), &turn(by)).unwrap(), &turn(-by)).unwrap();
        prop_assert!(near(&back, &set));
        prop_assert_eq!(normal(back.bars[0].angle_mdeg), normal(angle));
    }
}
