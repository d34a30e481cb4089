//! What each role may do, by method and route.

use axum::http::Method;

use crate::model::person::Role;

/// Forms and methods of the API by which work is done: stock moves, steps are ticked, something is
/// counted, tried or worked out. Every other one that changes anything is for keepers.
const WORK: &[&str] = &[
    "/things/{id}/cut",
    "/things/{id}/apart",
    "/things/{id}/move",
    "/things/{id}/out",
    "/things/{id}/mark",
    "/things/{id}/mount",
    "/things/{id}/lend",
    "/things/{id}/give-back",
    "/things/{id}/swap",
    "/things/{id}/edit",
    "/parts/{id}/receive",
    "/parts/{id}/count",
    "/places/{id}/count",
    "/log/{id}/undo",
    "/take-in",
    "/fixtures/new",
    "/frames/new",
    "/shopping/{id}/receive",
    "/shopping/{id}/receive/{line}",
    "/designs/{id}/build/{step}",
    "/designs/{id}/strike/line",
    "/designs/{id}/strike/rest",
    "/designs/{id}/show-day",
    "/api/v1/things/{id}/tests",
    "/api/v1/things/{id}/notes",
    "/api/v1/purchases/{id}/receive",
    "/api/v1/purchases/{id}/lines/{line}/receive",
    "/api/v1/designs/{id}/steps/{step}/tick",
    "/api/v1/designs/{id}/check-in",
    "/api/v1/designs/{id}/check-in-rest",
];

/// Where programs and people only work something out, or move stock by its own word.
const WORK_UNDER: &[&str] = &["/bench/", "/api/v1/calc/", "/api/v1/movements"];

/// Forms that are everybody's own: signing out, one's password, who one is.
const OWN: &[&str] = &[
    "/sign-out",
    "/who",
    "/who/password",
    "/who/pin",
    "/who/bench",
    "/who/take",
];

/// Pages of keepers only.
const KEPT: &[&str] = &[
    "/settings/people",
    "/settings/backup",
    "/settings/backup/{name}",
    "/settings/backup/import",
    "/changes",
];

/// Whether an address, or the route it is of, is of this pattern: `{…}` stands for any one segment.
pub fn fits(pattern: &str, path: &str) -> bool {
    let (mut pattern, mut path) = (pattern.split('/'), path.split('/'));
    loop {
        match (pattern.next(), path.next()) {
            (None, None) => return true,
            (Some(wanted), Some(is)) if wanted == is => {}
            (Some(wanted), Some(is)) if wanted.starts_with('{') && !is.is_empty() => {}
            _ => return false,
        }
    }
}

fn any(patterns: &[&str], path: &str) -> bool {
    patterns.iter().any(|pattern| fits(pattern, path))
}

/// Whether a route or address is of the worked sample, in which everybody may try everything.
pub fn in_sample(route: &str) -> bool {
    route
        .strip_prefix("/sample")
        .is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
}

/// What somebody must be allowed to, for this route or address.
pub fn needs(method: &Method, route: &str) -> Role {
    let reads = matches!(*method, Method::GET | Method::HEAD);
    if any(KEPT, route) {
        Role::Keep
    } else if reads || in_sample(route) || OWN.contains(&route) {
        Role::Look
    } else if any(WORK, route) || WORK_UNDER.iter().any(|under| route.starts_with(under)) {
        Role::Work
    } else {
        Role::Keep
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn looking_working_and_keeping_are_told_apart() {
        assert_eq!(needs(&Method::GET, "/designs/{id}"), Role::Look);
        assert_eq!(needs(&Method::GET, "/settings/people"), Role::Keep);
        assert_eq!(
            needs(&Method::POST, "/designs/{id}/build/{step}"),
            Role::Work
        );
        assert_eq!(needs(&Method::POST, "/bench/cuts"), Role::Work);
        assert_eq!(needs(&Method::POST, "/api/v1/movements"), Role::Work);
        assert_eq!(needs(&Method::POST, "/settings"), Role::Keep);
        assert_eq!(needs(&Method::DELETE, "/api/v1/parts/{id}"), Role::Keep);
        assert_eq!(needs(&Method::POST, "/who/password"), Role::Look);
        // An address is held to what its route is held to.
        assert_eq!(needs(&Method::POST, "/things/12/cut"), Role::Work);
        assert_eq!(needs(&Method::POST, "/things/12/cut/3"), Role::Keep);
        assert_eq!(needs(&Method::POST, "/things//cut"), Role::Keep);
        assert_eq!(needs(&Method::GET, "/settings/backup/monday"), Role::Keep);
        // What nobody thought of is for keepers.
        assert_eq!(needs(&Method::POST, "/new/thing"), Role::Keep);
    }
}
