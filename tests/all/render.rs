//! Renderings: terminal, JSON, CSV, pages.

use stopwise::render::html::ReportWriter;
use stopwise::render::html;

use crate::invented;

/// Writes reports to look at: `STOPWISE_LOOK=folder cargo test look -- --ignored`.
#[test]
#[ignore = "writes pages for the eye"]
fn look() {
    let Some(folder) = std::env::var_os("STOPWISE_LOOK") else { return };
    let folder = std::path::PathBuf::from(folder);
    for (name, bursts) in [("small.html", vec![8usize, 5, 14, 3, 1]), ("large.html", vec![12; 84])] {
        let made = invented::outing(7, &bursts, true);
        let mut writer = ReportWriter::create(&folder.join(name), "meadow").unwrap();
        for page in &made.pages {
            writer.burst(page).unwrap();
        }
        writer.finish(&made.record.outing, &made.record.skipped).unwrap();
    }
    let (record, pictures) = invented::inspected(3);
    html::write_inspect(&folder.join("inspect.html"), &record, &pictures).unwrap();
    let style = stopwise::render::term::Style { colour: false, width: 80, utf8: true };
    let made = invented::outing(7, &[8, 5, 14, 3, 1], false);
    for width in [80, 150] {
        let style = stopwise::render::term::Style { width, ..style };
        let text = stopwise::render::term::cull(&made.record, Some(&folder.join("small.html")), style);
        std::fs::write(folder.join(format!("term{width}.txt")), text).unwrap();
    }
    let style = stopwise::render::term::Style { utf8: false, ..style };
    std::fs::write(folder.join("ascii.txt"), stopwise::render::term::cull(&made.record, None, style)).unwrap();
    std::fs::write(folder.join("inspect.txt"), stopwise::render::term::inspect(&record, style)).unwrap();
}
