//! Pages that open without a server and ask nothing of the network.
//!
//! There is no script in the reports: the order switch and the map overlay are plain form controls
//! and CSS, so the content policy forbids scripts altogether and a hostile file name has nothing
//! to run in. Pictures are data: URIs. The page of `plan` holds one script, named in its policy.

mod chart;
mod clip;
mod colours;
mod compare;
mod digest;
mod inspect;
mod noise;
mod paging;
mod plan;
mod report;
mod scale;
mod view;

pub use chart::{chart, chart_svg, write_chart, write_chart_svg};
pub use clip::{clips, write_clips};
pub use colours::{THEMES, Theme, colour_rules, contrast};
pub use compare::{compare, write_compare};
pub use inspect::{inspect, write_inspect};
pub use noise::{noise, write_noise};
pub use plan::{plan, write_plan};
pub use report::ReportWriter;
pub use scale::{scale, write_scale};
pub use view::data_uri;
