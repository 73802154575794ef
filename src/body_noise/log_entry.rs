//! From the record of `noise` to what the log keeps of bodies.

use super::record::NoiseRecord;
use crate::store::log::{LoggedNoise, LoggedSigma};

/// What the rows of a body's noise are in the log.
pub fn rows(record: &NoiseRecord) -> Vec<LoggedNoise> {
    let rows = record.bodies.iter().flat_map(|b| b.isos.iter().map(move |i| (b, i)));
    rows.map(|(b, i)| LoggedNoise {
        logged_at: String::new(),
        body: b.body.clone(),
        iso: i.iso,
        source: i.source.word().to_owned(),
        frames: i.frames,
        method: i.method.word().to_owned(),
        range_dn: i.range_dn,
        gain_dn_per_e: i.gain_dn_per_e,
        read_noise_e: i.read_noise_e,
        sigma_at: i
            .sigma_at
            .iter()
            .map(|s| LoggedSigma { level: s.level, sigma_dn: s.sigma_dn, std_err_dn: s.std_err })
            .collect(),
        trusted: i.trusted,
    })
    .collect()
}
