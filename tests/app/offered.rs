//! What somebody may not do is not offered to them.

use std::collections::BTreeSet;

use tapewright::{model::person::Role, sample};

use crate::help::{Browser, TestApp};

/// What a crawl from the first page found.
#[derive(Default)]
struct Found {
    /// Pages, by address without its query.
    pages: BTreeSet<String>,
    /// Where the forms that can be seen are sent.
    forms: BTreeSet<String>,
    /// Forms and buttons that cannot.
    hidden: BTreeSet<String>,
}

fn path(address: &str) -> String {
    address
        .split(['?', '#'])
        .next()
        .unwrap_or_default()
        .to_owned()
}

/// Goes wherever a link leads that can be seen; of pages of things and places only to the first ones.
async fn crawl(browser: &Browser) -> Found {
    let mut found = Found::default();
    let mut ahead = vec!["/".to_owned()];
    while let Some(to) = ahead.pop() {
        let many = [
            "/things/",
            "/parts/",
            "/places/",
            "/labels",
            "/tag/",
            "/designs/1/",
            "/designs/2/",
        ];
        let alike = |it: &&String| {
            many.iter()
                .any(|many| to.starts_with(many) && it.starts_with(many))
        };
        let explains = ["/why/", "/sheets/", "/csv/"]
            .iter()
            .any(|it| to.contains(it));
        if explains || found.pages.contains(&to) || found.pages.iter().filter(alike).count() > 8 {
            continue;
        }
        found.pages.insert(to.clone());
        let page = browser.get(&to).await;
        if let Some(next) = page.header("location") {
            ahead.push(path(next));
            continue;
        }
        // Some want to know more than their address says; none may be forbidden.
        assert!(
            page.status != 403 && page.status < 500,
            "{to}: {}",
            page.status
        );
        for (css, attribute) in [("form[method=post]", "action"), ("a", "href")] {
            let seen = page.attributes(&format!("{css}:not([hidden], [data-shut])"), attribute);
            let all = page.attributes(&format!("{css}:is([hidden], [data-shut])"), attribute);
            found.hidden.extend(all.iter().map(|to| path(to)));
            if attribute == "action" {
                found.forms.extend(seen.iter().map(|to| path(to)));
                let own = page.count("form[method=post]:not([hidden], [data-shut], [action])");
                found.forms.extend((own > 0).then(|| to.clone()));
            } else {
                let ours = |to: &&String| to.starts_with('/') && !to.starts_with("/sample");
                ahead.extend(seen.iter().filter(ours).map(|to| path(to)));
            }
        }
    }
    found
}

#[tokio::test]
async fn nothing_is_offered_that_would_be_refused() {
    let app = TestApp::guarded().await;
    assert!(sample::fill(app.db(), app.clock()).await.unwrap());
    app.add_person("Lou", Role::Look).await;
    app.add_person("Wim", Role::Work).await;
    for (name, more_than) in [("Lou", 0), ("Wim", 15)] {
        let browser = app.other_browser();
        browser.sign_in(name).await;
        let found = crawl(&browser).await;
        assert!(found.pages.len() > 40, "{name}: {}", found.pages.len());
        assert!(found.hidden.len() > 20, "{name}: {:?}", found.hidden);
        // Signing out and one's own password and PIN are everybody's.
        let own = |to: &&String| to.starts_with("/who") || to.starts_with("/sign-out");
        let forms: Vec<&String> = found.forms.iter().filter(|to| !own(to)).collect();
        assert!(forms.len() >= more_than, "{name}: {forms:?}");
        for to in forms {
            let answer = browser.post(to, &[]).await;
            assert_ne!(answer.status, 403, "{name} is offered {to}");
        }
        // And what is hidden is refused: nobody is kept from what they may do.
        // The drawing's own script shows the way to what is picked in it.
        for to in found.hidden.iter().filter(|to| !to.ends_with("/bars")) {
            let answer = browser.post(to, &[]).await;
            let read = browser.get(to).await;
            assert!(
                answer.status == 403 || read.status == 403,
                "{name} may do {to}: {}",
                answer.status
            );
        }
    }
}
