//! Cutting against worked examples that others published. Each optimum is known from its
//! source or proven by hand; the planner must reach it and prove it.

use tapewright::plan::{
    answer::Proof,
    cut::{Budget, CutPlan, End, Fed, Problem, Roll, SolderWeights, Stock, Want, plan, verify},
};

fn piece(units: u64) -> Stock {
    Stock {
        units,
        start: End::Bare,
        end: End::Bare,
        joints: None,
    }
}

fn problem(stock: &[u64], rolls: &[(u64, i64)], wants: &[(u64, u32)]) -> Problem {
    Problem {
        stock: stock.iter().map(|&units| piece(units)).collect(),
        rolls: rolls
            .iter()
            .map(|&(units, price_minor)| Roll {
                piece: piece(units),
                price_minor,
                quantity: None,
            })
            .collect(),
        wants: wants
            .iter()
            .map(|&(units, quantity)| Want {
                units,
                quantity,
                fed: Fed::OneEnd,
            })
            .collect(),
        usable_units: 1,
        kerf_units: 0,
        trim_units: 0,
        weights: SolderWeights::NONE,
    }
}

fn solved(problem: &Problem) -> CutPlan {
    let answer = plan(problem, Budget::USUAL).expect("in range");
    assert_eq!(verify(problem, &answer), Ok(()));
    assert!(answer.short.is_empty());
    assert_eq!(answer.proof.short, Proof::Proven);
    answer
}

/// The fewest rolls of one length, which the planner must also prove: at price one, money
/// counts rolls.
fn fewest(length: u64, wants: &[(u64, u32)]) -> i64 {
    let answer = solved(&problem(&[], &[(length, 1)], wants));
    assert_eq!(answer.proof.money, Proof::Proven);
    answer.purchase_minor
}

/// V. Chvátal, Linear Programming, Freeman 1983, chapter 13, p. 195.
#[test]
fn chvatal_195() {
    let wants = [(45, 97), (36, 610), (31, 395), (14, 211)];
    assert_eq!(fewest(100, &wants), 453);
}

/// The same, p. 198, in halves (raw width 91 from memory).
#[test]
fn chvatal_198() {
    let wants = [(51, 78), (45, 40), (40, 30), (30, 30)];
    assert_eq!(fewest(182, &wants), 44);
}

/// The paper-machine example of the encyclopedia article 'Cutting stock problem', in cm.
#[test]
fn paper_machine() {
    let wants = [
        (138, 22),
        (152, 25),
        (156, 12),
        (171, 14),
        (182, 18),
        (188, 18),
        (193, 20),
        (200, 10),
        (205, 12),
        (210, 14),
        (214, 16),
        (215, 18),
        (220, 20),
    ];
    assert_eq!(fewest(560, &wants), 73);
}

/// R. Fourer, D. M. Gay, B. W. Kernighan, AMPL, data of the cutting example.
#[test]
fn ampl_cutting() {
    let wants = [(20, 48), (45, 35), (50, 24), (55, 10), (75, 8)];
    assert_eq!(fewest(110, &wants), 47);
}

/// A solver manual's column-generation example, in halves.
#[test]
fn column_generation_example() {
    let wants = [(34, 150), (42, 96), (45, 48), (48, 108), (59, 227)];
    assert_eq!(fewest(188, &wants), 161);
}

/// `JuMP` documentation, column-generation tutorial.
#[test]
fn jump_tutorial() {
    let wants = [
        (750, 38),
        (700, 41),
        (684, 34),
        (655, 23),
        (596, 18),
        (538, 33),
        (530, 36),
        (510, 41),
        (502, 35),
        (322, 37),
        (308, 44),
        (298, 49),
        (201, 37),
        (162, 36),
        (145, 42),
        (110, 33),
        (86, 47),
        (82, 35),
        (66, 49),
        (51, 42),
    ];
    assert_eq!(fewest(1000, &wants), 299);
}

/// University lecture notes, boards of 17 m.
#[test]
fn boards_of_17() {
    assert_eq!(fewest(17, &[(3, 25), (5, 20), (9, 15)]), 19);
}

/// A textbook exercise, boards of 25 ft (book from memory).
#[test]
fn boards_of_25() {
    let wants = [(7, 5000), (9, 1200), (11, 300)];
    assert_eq!(fewest(25, &wants), 2167);
}

/// One above the rounded bound: each length alone fills rolls without rest, so that the linear
/// program needs 2/3 + 3/4 + 6/11 = 259/132 < 2 of them, and no two rolls hold all. The instance is
/// known for that: M. Fieldhouse, SICUP Bulletin 5 (1990); G. Scheithauer and J. Terno, European
/// Journal of Operational Research 84 (1995) [both from memory]; that three are needed was found by
/// trying all patterns.
#[test]
fn one_above_the_rounded_bound() {
    assert_eq!(fewest(132, &[(44, 2), (33, 3), (12, 6)]), 3);
}

/// P. C. Gilmore, R. E. Gomory, Operations Research 9 (1961) 849-859.
#[test]
fn gilmore_gomory_three_lengths() {
    let rolls = [(5, 6), (6, 7), (9, 10)];
    let answer = solved(&problem(&[], &rolls, &[(2, 20), (3, 10), (4, 20)]));
    assert_eq!(
        (answer.purchase_minor, answer.proof.money),
        (170, Proof::Proven)
    );
}

/// A course notebook: three fifteens and three tens on hand; one fifteen stays whole.
#[test]
fn six_pieces_on_hand() {
    let asked = problem(
        &[15, 15, 15, 10, 10, 10],
        &[],
        &[(7, 3), (6, 2), (4, 6), (3, 1)],
    );
    let answer = solved(&asked);
    assert_eq!(
        (answer.purchase_minor, answer.proof.money),
        (0, Proof::Proven)
    );
    // A whole fifteen, and nothing of the other pieces.
    assert_eq!(answer.layouts.len(), 5);
    assert_eq!(answer.rest.squares, 15 * 15);
    assert_eq!((answer.rest.scrap_units, answer.rest.offcuts), (0, 0));
    assert_eq!(answer.proof.rest, Proof::Proven);
}

/// By hand: two tens cost 200.
#[test]
fn one_longer_roll_beats_two() {
    let answer = solved(&problem(&[], &[(10, 100), (15, 140)], &[(5, 3)]));
    assert_eq!(
        (answer.purchase_minor, answer.proof.money),
        (140, Proof::Proven)
    );
}

/// By hand: with a fifteen at least 251.
#[test]
fn two_shorter_rolls_beat_a_longer_one() {
    let answer = solved(&problem(&[], &[(10, 100), (15, 151)], &[(5, 4)]));
    assert_eq!(
        (answer.purchase_minor, answer.proof.money),
        (200, Proof::Proven)
    );
}

/// By hand: the thirty stays whole.
#[test]
fn the_longer_piece_stays_whole() {
    let answer = solved(&problem(&[30, 20], &[], &[(10, 2)]));
    assert_eq!(answer.purchase_minor, 0);
    assert_eq!(
        (answer.rest.squares, answer.proof.rest),
        (900, Proof::Proven)
    );
}

/// By hand: 5 + 5 and 3 + 3 + 3; first-fit decreasing buys a roll.
#[test]
fn no_roll_where_first_fit_buys_one() {
    let answer = solved(&problem(&[10, 9], &[(10, 100)], &[(5, 2), (3, 3)]));
    assert_eq!(
        (answer.purchase_minor, answer.proof.money),
        (0, Proof::Proven)
    );
}
