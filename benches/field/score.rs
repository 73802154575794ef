//! What is said against what is true, summed over bursts.

use super::kendall::kendall_tau;
use super::reading::{Told, ToldBurst};
use super::truth::{True, TrueBurst};

/// Blur up to which a picked frame is as good as the truly best.
const AS_GOOD: f64 = 1.1;
/// A hit beyond this many times the lens's own blur is a grave error.
const GRAVE: f64 = 2.0;

/// A count out of a number.
#[derive(Debug, Clone, Copy, Default)]
pub struct Part {
    pub yes: f64,
    pub of: f64,
}

impl Part {
    pub fn put(&mut self, yes: bool) {
        self.yes += f64::from(u8::from(yes));
        self.of += 1.0;
    }

    fn join(&mut self, o: Part) {
        self.yes += o.yes;
        self.of += o.of;
    }

    /// Share in per cent; `None` out of nothing.
    pub fn percent(&self) -> Option<f64> {
        (self.of > 0.0).then(|| 100.0 * self.yes / self.of)
    }

    pub fn word(&self) -> String {
        self.percent().map_or("-".to_owned(), |p| format!("{p:.1}"))
    }
}

/// Sums over bursts.
#[derive(Debug, Clone, Default)]
pub struct Tally {
    pub bursts: usize,
    pub split: usize,
    /// Kendall's tau by ranking energy and by blur ratio.
    pub taus: Vec<f64>,
    pub taus_ratio: Vec<f64>,
    pub picked: Part,
    pub either: Part,
    /// Right among all frames, and among those told.
    pub right: Part,
    pub right_told: Part,
    pub told: Part,
    pub swaps: Part,
    pub grave: Part,
    /// The word, and only whether it moved.
    pub cause: Part,
    pub cause_moved: Part,
    /// Blur said over true.
    pub said_true: Vec<f64>,
    pub in68: Part,
    pub in95: Part,
    pub soft_found: Part,
    pub soft_false: Part,
    /// Best is no hit while a hit stands beside it.
    pub denied: Part,
    /// Confidence, whether the place lies on the subject, whether the pick is as good as the best.
    pub sure: Vec<(f64, bool, bool)>,
    pub on_subject: Part,
}

impl Tally {
    pub fn join(&mut self, o: &Tally) {
        self.bursts += o.bursts;
        self.split += o.split;
        self.taus.extend(&o.taus);
        self.taus_ratio.extend(&o.taus_ratio);
        self.said_true.extend(&o.said_true);
        self.sure.extend(&o.sure);
        for (a, b) in [
            (&mut self.picked, o.picked),
            (&mut self.either, o.either),
            (&mut self.right, o.right),
            (&mut self.right_told, o.right_told),
            (&mut self.told, o.told),
            (&mut self.swaps, o.swaps),
            (&mut self.grave, o.grave),
            (&mut self.cause, o.cause),
            (&mut self.cause_moved, o.cause_moved),
            (&mut self.in68, o.in68),
            (&mut self.in95, o.in95),
            (&mut self.soft_found, o.soft_found),
            (&mut self.soft_false, o.soft_false),
            (&mut self.denied, o.denied),
            (&mut self.on_subject, o.on_subject),
        ] {
            a.join(b);
        }
    }

    /// One burst.
    pub fn of(truth: &TrueBurst, told: &ToldBurst) -> Tally {
        let mut t = Tally { bursts: 1, split: usize::from(told.parts > 1), ..Tally::default() };
        let best_px = truth.best_px();
        for (frame, said) in truth.frames.iter().zip(&told.frames) {
            t.frame(frame, said, truth);
        }
        let sharp: Vec<f64> = truth.frames.iter().map(|f| -f.total_px).collect();
        let last = f64::NEG_INFINITY;
        let focus: Vec<f64> = told.frames.iter().map(|f| f.focus.unwrap_or(last)).collect();
        let ratio: Vec<f64> = told.frames.iter().map(|f| f.ratio.map_or(last, |r| -r)).collect();
        if truth.frames.len() > 1 {
            t.taus.push(kendall_tau(&sharp, &focus).unwrap_or(0.0));
            t.taus_ratio.push(kendall_tau(&sharp, &ratio).unwrap_or(0.0));
        }
        let good = |i: Option<usize>| {
            i.and_then(|i| truth.frames.get(i)).is_some_and(|f| f.total_px <= AS_GOOD * best_px)
        };
        let soft = (truth.nothing_sharp(), told.nothing_sharp());
        // Who says rightly that nothing is sharp need not name a best.
        if !(soft.0 && soft.1 && told.best.is_none()) {
            t.picked.put(good(told.best));
            t.either.put(good(told.best) || good(told.other));
        }
        if soft.0 {
            t.soft_found.put(soft.1)
        } else {
            t.soft_false.put(soft.1)
        }
        let hits = told.frames.iter().any(|f| f.call == "hit");
        let best_hits = told.best.and_then(|b| told.frames.get(b)).is_some_and(|f| f.call == "hit");
        t.denied.put(hits && !best_hits);
        let on = told.best.is_some_and(|b| on_subject(truth, &truth.frames[b], &told.frames[b]));
        t.on_subject.put(on);
        if let Some(c) = told.confidence {
            t.sure.push((c, on, good(told.best)));
        }
        t
    }

    fn frame(&mut self, truth: &True, said: &Told, burst: &TrueBurst) {
        let right = truth.call == said.call;
        let silent = said.call == "unclear";
        self.right.put(right);
        self.told.put(!silent);
        if !silent {
            self.right_told.put(right);
        }
        let swap = matches!((&*truth.call, &*said.call), ("hit", "miss") | ("miss", "hit"));
        self.swaps.put(swap);
        self.grave.put(said.call == "hit" && truth.total_px > GRAVE * burst.in_focus_px);
        if truth.call != "hit" && matches!(&*said.call, "near" | "miss") {
            let first = said.cause.as_deref().unwrap_or("");
            let moved = matches!(first, "shake" | "subject-motion" | "ghosted");
            let (defocus, movement) = truth.loses;
            self.cause_moved.put(if moved { movement } else { defocus });
            // Where both would lose the hit, either is right.
            let word = match &*truth.cause {
                "shake" | "subject-motion" | "ghosted" if !moved && defocus => {
                    matches!(first, "misfocused" | "soft")
                }
                "ghosted" => moved,
                word => first == word,
            };
            self.cause.put(word);
        }
        if let Some(b) = said.blur {
            self.said_true.push(b.value_px / truth.total_px);
            let inside =
                |r: Option<(f64, f64)>| r.is_some_and(|r| (r.0..=r.1).contains(&truth.total_px));
            self.in68.put(inside(b.range68_px));
            self.in95.put(inside(b.range95_px));
        }
    }

    /// Mean Kendall tau by blur ratio: the order that verdicts and pages follow.
    pub fn tau(&self) -> Option<f64> {
        mean(&self.taus_ratio)
    }

    /// Mean Kendall tau by the ratio that verdicts are based on.
    pub fn tau_by_ratio(&self) -> Option<f64> {
        mean(&self.taus_ratio)
    }

    /// Blur said over true at 10, 50 and 90 %.
    pub fn quantiles(&self) -> Option<[f64; 3]> {
        let mut v = self.said_true.clone();
        if v.is_empty() {
            return None;
        }
        v.sort_by(f64::total_cmp);
        Some([0.1, 0.5, 0.9].map(|p| v[((v.len() - 1) as f64 * p).round() as usize]))
    }

    pub fn print_head(first: &str) {
        println!(
            "{first:<24}{:>6}{:>7}{:>7}{:>7}{:>7}{:>7}{:>7}{:>7}{:>7}{:>7}{:>7}{:>18}{:>6}{:>6}{:>11}{:>11}{:>7}",
            "bursts",
            "right",
            "r.told",
            "told",
            "swaps",
            "grave",
            "pick",
            "either",
            "tau",
            "tau.r",
            "cause",
            "said/true",
            "68",
            "95",
            "soft found",
            "soft false",
            "denied"
        );
    }

    pub fn print(&self, name: &str) {
        let quantiles =
            self.quantiles().map_or("-".to_owned(), |[a, b, c]| format!("{a:.2}/{b:.2}/{c:.2}"));
        let count = |p: &Part| format!("{:.0}/{:.0}", p.yes, p.of);
        let tau = |t: Option<f64>| t.map_or("-".to_owned(), |t| format!("{t:.3}"));
        println!(
            "{name:<24}{:>6}{:>7}{:>7}{:>7}{:>7}{:>7}{:>7}{:>7}{:>7}{:>7}{:>7}{:>18}{:>6}{:>6}{:>11}{:>11}{:>7}",
            self.bursts,
            self.right.word(),
            self.right_told.word(),
            self.told.word(),
            self.swaps.word(),
            self.grave.word(),
            self.picked.word(),
            self.either.word(),
            tau(self.tau()),
            tau(self.tau_by_ratio()),
            self.cause.word(),
            quantiles,
            self.in68.word(),
            self.in95.word(),
            count(&self.soft_found),
            count(&self.soft_false),
            count(&self.denied),
        );
    }

    /// Confidence against what came of it, in five bins of equal count.
    pub fn print_calibration(&self) {
        const BINS: usize = 5;
        let mut sure = self.sure.clone();
        sure.sort_by(|a, b| a.0.total_cmp(&b.0));
        if sure.is_empty() {
            println!("no confidence told");
            return;
        }
        println!("confidence told against how often the place lies on the subject, and the pick");
        for k in 0..BINS {
            let bin = &sure[k * sure.len() / BINS..(k + 1) * sure.len() / BINS];
            let n = bin.len() as f64;
            let share = |f: &dyn Fn(&(f64, bool, bool)) -> f64| bin.iter().map(f).sum::<f64>() / n;
            println!(
                "  {:>4} bursts: told {:.3}  on the subject {:.3}  pick within 10 % {:.3}",
                bin.len(),
                share(&|s| s.0),
                share(&|s| f64::from(u8::from(s.1))),
                share(&|s| f64::from(u8::from(s.2))),
            );
        }
    }
}

fn mean(v: &[f64]) -> Option<f64> {
    (!v.is_empty()).then(|| v.iter().sum::<f64>() / v.len() as f64)
}

/// Whether the place told lies within the subject.
fn on_subject(burst: &TrueBurst, truth: &True, said: &Told) -> bool {
    let (w, h) = (burst.size_px.0 as f64, burst.size_px.1 as f64);
    said.at.is_some_and(|(x, y)| {
        ((x - truth.at.0) * w).hypot((y - truth.at.1) * h) <= burst.radius * w
    })
}
