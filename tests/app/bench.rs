//! The calculators of the bench.

use crate::help::TestApp;

#[tokio::test]
async fn a_roll_is_cut_and_the_answer_says_what_is_proven() {
    let app = TestApp::new().await;
    let page = app
        .get("/bench?pitch=50+mm&pieces=1+x+5+m+lead+lead&bars=3+x+1.2+m%0A1+x+900+mm")
        .await;
    assert_eq!(page.status, 200);
    assert_eq!(page.count("#cut-answer figure"), 1);
    let answer = page.text("#cut-answer");
    assert!(answer.contains("proven least"), "{answer}");
    // Four bars, two of them at the roll's leads: two joints on other marks are left.
    assert!(answer.contains("Soldering work 4"), "{answer}");
}

#[tokio::test]
async fn what_cannot_be_cut_is_said() {
    let app = TestApp::new().await;
    let page = app
        .get("/bench?pitch=50+mm&pieces=1+m&bars=2+x+600+mm")
        .await;
    assert!(
        page.text("#cut-answer")
            .contains("1 × 600 mm cannot be cut")
    );
    for query in [
        "pitch=0&pieces=1+m&bars=600+mm",
        "pitch=50+mm&pieces=1+m&bars=-600+mm",
        "pitch=50+mm&pieces=&bars=600+mm",
        "pitch=50+mm&pieces=1+m&bars=999999+x+600+mm",
        "pitch=50+mm&pieces=1+m&bars=200+x+1+m%0A200+x+1+m%0A200+x+1+m",
    ] {
        let page = app.get(format!("/bench?{query}")).await;
        assert_eq!(page.status, 200, "{query}");
        assert_eq!(page.count("#cut-answer figure"), 0, "{query}");
        assert!(page.count(".error") > 0, "{query}");
    }
}

#[tokio::test]
async fn nine_switches_hold_the_start_address_as_a_binary_number() {
    // Common practice: switch k is worth 2^(k−1); 257 is switches 1 and 9.
    let app = TestApp::new().await;
    let on = |page: &crate::help::Page| {
        page.texts("#dip-answer tbody td")
            .iter()
            .enumerate()
            .filter(|(_, word)| word.as_str() == "on")
            .map(|(i, _)| i + 1)
            .collect::<Vec<_>>()
    };
    assert_eq!(on(&app.get("/bench?address=1").await), [1]);
    assert_eq!(on(&app.get("/bench?address=257").await), [1, 9]);
    assert_eq!(
        on(&app.get("/bench?address=511").await),
        [1, 2, 3, 4, 5, 6, 7, 8, 9]
    );
    assert_eq!(
        on(&app.get("/bench?address=1&less_one=on").await),
        Vec::<usize>::new()
    );
    assert_eq!(
        app.get("/bench?address=512").await.count("#address-error"),
        1
    );
}
