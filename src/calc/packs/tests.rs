use serde_json::{Value, json};

use super::*;
use crate::calc::document;

fn ask(document: Value) -> Result<PacksAnswer, Refused> {
    answer(&document::read(document)?)
}

fn two_shops() -> Value {
    json!({
        "suppliers": [
            {"name": "Lock Lane", "delivery_minor": 500},
            {"name": "Quay Supplies", "delivery_minor": 400, "free_from_minor": 3000}
        ],
        "wants": [
            {"name": "Leads", "needed": 6, "offers": [
                {"supplier": "Lock Lane", "pack": 5, "price_minor": 600},
                {"supplier": "Quay Supplies", "pack": 1, "price_minor": 150}
            ]},
            {"name": "Blocks", "needed": 3, "offers": [
                {"supplier": "Quay Supplies", "pack": 2, "price_minor": 700, "minimum_packs": 2}
            ]}
        ]
    })
}

#[test]
fn all_comes_from_one_shop_when_a_second_delivery_costs_more_than_it_saves() {
    let said = ask(two_shops()).expect("answered");
    // By hand: 6 leads at 150, 4 blocks for 1400 and one delivery.
    assert_eq!(said.cost_minor, 900 + 1400 + 400);
    assert_eq!(said.parcels.len(), 1);
    assert_eq!(said.parcels[0].supplier, "Quay Supplies");
    assert!(said.proven);
    assert_eq!(said.cost_bound_minor, said.cost_minor);
    assert_eq!(said.left_over[0].want, "Blocks");
    assert_eq!(said.left_over[0].amount, 1);
    // Nobody else has blocks.
    let without = said.beside.iter().find(|it| it.way == PacksWay::Without);
    assert_eq!(without.expect("there").cost_minor, None);
}

#[test]
fn what_the_suppliers_asked_for_do_not_sell_is_short_and_the_rest_is_bought() {
    let mut asked = two_shops();
    asked["only_suppliers"] = json!(["Lock Lane"]);
    let said = ask(asked).expect("answered");
    assert_eq!(said.short.len(), 1);
    assert_eq!(said.short[0].want, "Blocks");
    assert_eq!(said.cost_minor, 1200 + 500);
}

#[test]
fn a_bad_document_names_the_field() {
    let refused = |change: &dyn Fn(&mut Value)| {
        let mut asked = two_shops();
        change(&mut asked);
        ask(asked).expect_err("refused").pointer
    };
    assert_eq!(
        refused(&|it| it["wants"][0]["needed"] = json!(0)),
        "/wants/0/needed"
    );
    assert_eq!(
        refused(&|it| it["wants"][0]["offers"][1]["supplier"] = json!("Nobody")),
        "/wants/0/offers/1/supplier"
    );
    assert_eq!(
        refused(&|it| it["wants"][0]["offers"][1]["pack"] = json!(-1)),
        "/wants/0/offers/1/pack"
    );
    assert_eq!(
        refused(&|it| it["suppliers"][1]["name"] = json!("Lock Lane")),
        "/suppliers/1/name"
    );
    assert_eq!(
        refused(&|it| it["only_suppliers"] = json!(["Else"])),
        "/only_suppliers/0"
    );
    assert_eq!(refused(&|it| it["aim"] = json!("luck")), "/aim");
    assert_eq!(refused(&|it| it["suppliers"] = Value::Null), "/suppliers");
}
