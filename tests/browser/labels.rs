//! Labels as they come out of the printer: as many papers as are needed, of their true size, and
//! every code on them read back by a decoder that we did not write (zbar).

use std::{path::Path, process::Command};

use tapewright::{
    db,
    db::thing::ThingFilter,
    model::{label::LabelPaper, thing::ThingKind},
};

use crate::help::Stage;

/// What a program says of a document.
pub(crate) fn said(program: &str, args: &[&str]) -> String {
    let done = Command::new(program)
        .args(args)
        .output()
        .unwrap_or_else(|why| panic!("{program} ({why}); tests/run installs it"));
    String::from_utf8_lossy(&done.stdout).into_owned()
}

/// How many papers a document has, and their width and height in mm.
pub(crate) fn papers(document: &str) -> (usize, [f64; 2]) {
    let info = said("pdfinfo", &[document]);
    let value = |name: &str| {
        let line = info.lines().find_map(|line| line.strip_prefix(name));
        line.unwrap_or_else(|| panic!("{name} {info}")).trim()
    };
    let size: Vec<f64> = value("Page size:")
        .split(' ')
        .filter_map(|word| word.parse().ok())
        .map(|points: f64| points / 72.0 * 25.4)
        .collect();
    (
        value("Pages:").parse().expect("a number"),
        [size[0], size[1]],
    )
}

/// The codes of labels as a phone sees them, one label in view: a picture of each at 300 dots to
/// the inch, read by zbar.
fn codes(document: &str, paper: LabelPaper, labels: usize, folder: &Path) -> Vec<String> {
    let grid = paper.grid();
    let dots = |um: i64| (um * 300 / 25_400).to_string();
    let pictures: Vec<String> = (0..labels)
        .map(|at| {
            let page = (at / grid.labels() + 1).to_string();
            let [x, y] = grid.at_um(at % grid.labels()).map(dots);
            let [width, height] = grid.label_um.map(dots);
            let picture = folder.join(at.to_string()).display().to_string();
            let crop = ["-x", &x, "-y", &y, "-W", &width, "-H", &height];
            let pages = ["-f", &page, "-l", &page, "-r", "300", "-png", "-singlefile"];
            let args = [&pages[..], &crop[..], &[document, &picture][..]].concat();
            said("pdftoppm", &args);
            format!("{picture}.png")
        })
        .collect();
    let only = [
        "--quiet",
        "--raw",
        "--set",
        "*.enable=0",
        "--set",
        "qrcode.enable=1",
    ];
    let args: Vec<&str> = only
        .into_iter()
        .chain(pictures.iter().map(String::as_str))
        .collect();
    let read = said("zbarimg", &args);
    read.lines().map(str::to_owned).collect()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn every_printed_code_is_read_back_and_every_paper_has_its_size() {
    let stage = Stage::sample().await;
    let mut tx = stage.app().db().read().await.expect("a reader");
    let filter = ThingFilter {
        kind: Some(ThingKind::Fixture),
        ..ThingFilter::default()
    };
    let mut bars = db::thing::list(&mut tx, &filter, 0, 100)
        .await
        .expect("the finished bars");
    drop(tx);
    // The order of their labels.
    bars.sort_by_key(|bar| bar.id);
    assert!(bars.len() > 8, "{}", bars.len());
    let base = format!("http://127.0.0.1:{}", stage.port());
    let wanted: Vec<String> = bars
        .iter()
        .map(|bar| format!("{base}/tag/{}", bar.tag))
        .collect();
    let ids: Vec<String> = bars
        .iter()
        .map(|bar| format!("&thing={}", bar.id))
        .collect();
    let ids = ids.concat();
    for paper in LabelPaper::ALL {
        let folder = tempfile::tempdir().expect("a folder");
        let document = folder.path().join("labels.pdf").display().to_string();
        stage
            .open(format!(
                "/labels/papers?paper={}&first=1{ids}",
                paper.word()
            ))
            .await;
        stage.print(Path::new(&document)).await;
        let (number, size) = papers(&document);
        let grid = paper.grid();
        assert_eq!(number, bars.len().div_ceil(grid.labels()), "{paper}");
        for (found, asked_um) in size.into_iter().zip(grid.paper_um) {
            let asked = f64::from(u32::try_from(asked_um).expect("a size")) / 1_000.0;
            assert!((found - asked).abs() < 0.5, "{paper}: {found} mm");
        }
        let read = codes(&document, *paper, bars.len(), folder.path());
        assert_eq!(read, wanted, "{paper}");
    }
    stage.end().await;
}
