//! The sheets as they come out of the printer: their paper, their heads on every page, nothing cut off,
//! and the code of each read back by a decoder that we did not write (zbar).

use tapewright::db;

use crate::{
    help::Stage,
    labels::{papers, said},
};

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn every_sheet_prints_on_its_paper_with_its_head_on_every_page() {
    let stage = Stage::sample().await;
    let mut tx = stage.app().db().write().await.expect("it writes");
    let mut venue = db::venue::lookup(&mut tx).await.expect("the settings");
    venue.label_base = "http://hall.test:8470".to_owned();
    assert!(
        db::venue::change(&mut tx, &venue)
            .await
            .expect("it is changed")
    );
    tx.commit().await.expect("it is kept");

    let folder = tempfile::tempdir().expect("a temporary folder");
    for (paper, size) in [("a4", [210.0, 297.0]), ("letter", [215.9, 279.4])] {
        stage
            .open(format!("/designs/3/sheets/all?paper={paper}"))
            .await;
        let marks = stage
            .script(
                "return [...document.querySelectorAll('.sheet-mark strong')].map(it => it.textContent)",
                vec![],
            )
            .await;
        let marks: Vec<String> = marks
            .as_array()
            .expect("marks")
            .iter()
            .filter_map(|mark| mark.as_str().map(str::to_owned))
            .collect();
        assert_eq!(marks.len(), 9);
        // Two figures and a point in front of a cut are some 1.6 em wide, at the edge of the sheet.
        let room = stage
            .script(
                "return [...document.querySelectorAll('.sheet ol')].map(getComputedStyle)
                   .map(it => parseFloat(it.paddingLeft) / parseFloat(it.fontSize)).every(em => em > 2)",
                vec![],
            )
            .await;
        assert_eq!(room, true);
        let file = folder.path().join(format!("{paper}.pdf"));
        stage.print(&file).await;
        let document = file.display().to_string();
        let (pages, printed) = papers(&document);
        // Nine sheets, of which the last two of the three for the wiring may stand on one page with it.
        assert!((7..=40).contains(&pages), "{pages} pages");
        for (wanted, is) in size.iter().zip(printed) {
            assert!((wanted - is).abs() < 1.0, "{paper}: {printed:?}");
        }
        // Page by page: the head of its sheet, and which page of how many it is.
        for number in 1..=pages {
            let at = number.to_string();
            let text = said(
                "pdftotext",
                &["-f", &at, "-l", &at, "-layout", &document, "-"],
            );
            assert!(
                text.contains("Midsummer play"),
                "page {number} has no head: {text}"
            );
            assert!(
                marks.iter().any(|mark| text.contains(mark)),
                "page {number}: {text}"
            );
            let count = format!("Page {number} of {pages}");
            assert!(
                text.contains(&count),
                "page {number} does not say {count}: {text}"
            );
        }
        // The code of the first sheet leads to its mark.
        let picture = folder.path().join(paper).display().to_string();
        said(
            "pdftoppm",
            &[
                "-f",
                "1",
                "-l",
                "1",
                "-r",
                "300",
                "-png",
                "-singlefile",
                &document,
                &picture,
            ],
        );
        let read = said("zbarimg", &["--quiet", "--raw", &format!("{picture}.png")]);
        assert_eq!(
            read.trim(),
            format!("http://hall.test:8470/designs/3/print/{}", marks[0])
        );
        let kept = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/out");
        std::fs::create_dir_all(&kept).expect("a folder");
        std::fs::copy(&file, kept.join(format!("sheets-{paper}.pdf"))).expect("a copy to look at");
    }
    stage.end().await;
}
