//! Heights that supports rest at between passes: where it can be, those that the stock can pack.

use super::SupportToLift;
use crate::units::{LENGTH_EPS, Length};

/// A height this close to a bound is within it.
const ROUNDING: Length = Length::mm(1e-6);

/// The end of a pass.
pub(super) struct EndOfPass<'a> {
    /// What the line leaves to do.
    pub line: Length,
    /// Passes that come after it.
    pub passes_left: usize,
    pub per_pass: Length,
    /// Openings that the stock fills to the full, thinnest first.
    pub filled: &'a [Length],
}

impl EndOfPass<'_> {
    /// The lift at which a support that is raised rests after the pass, from the lift at which it
    /// rests before.
    ///
    /// Of the heights that the stock can pack, and that of today, it is the nearest to the line
    /// that is no more than the lift per pass above today's and leaves no more than the passes
    /// that are left can do: so nothing is raised that has to come down again. Where there is
    /// none it is the line, and the bearer comes down on the stack that goes in.
    pub fn rests(&self, support: &SupportToLift, now: Length) -> Length {
        let (whole, gap) = (support.lift, support.gap);
        let on_line = (whole - self.line).max(now);
        if self.line <= LENGTH_EPS || whole <= LENGTH_EPS {
            return on_line;
        }
        let least = now.max(whole - self.per_pass * self.passes_left as f64) - ROUNDING;
        let most = whole.min(now + self.per_pass) + ROUNDING;
        let stays = Some(now).filter(|now| *now >= least);
        let from = self.filled.partition_point(|&opening| opening < least + gap);
        let packed = self.filled[from..].iter().take_while(|&&opening| opening <= most + gap);
        stays
            .into_iter()
            .chain(packed.map(|&opening| opening - gap))
            .min_by(|a, b| {
                let off = |height: Length| (height - on_line).abs();
                off(*a).total_cmp(&off(*b)).then(b.total_cmp(a))
            })
            .unwrap_or(on_line.min(now + self.per_pass))
    }
}
