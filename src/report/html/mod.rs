//! Pages that open without a server and ask nothing of the network.
//!
//! There is no script in the reports: the order switch and the map overlay are plain form controls
//! and CSS, so the content policy forbids scripts altogether and a hostile file name has nothing
//! to run in. Pictures are data: URIs. The page of `plan` holds one script, named in its policy.

pub(crate) mod colours;
pub(crate) mod page_frame;
pub(crate) mod view;

pub use colours::{THEMES, Theme, colour_rules, contrast};
pub use page_frame::write_page;
pub use view::data_uri;
