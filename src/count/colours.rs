//! Which colour each piece of a photo is.

use crate::colour::names::name_of;
use crate::colour::{SwatchBook, cluster};
use crate::pieces::paint::Paint;

/// A piece's colour by name.
#[derive(Clone, Debug, PartialEq)]
pub struct Named {
    /// A taught name, or an ISCC-NBS name where it was not taught.
    pub name: String,
    /// Probability that the name is right.
    pub probability: f64,
    /// The next likeliest name, where it is worth saying.
    pub runner_up: Option<String>,
    /// Whether the colour is none of those taught.
    pub new: bool,
}

/// Below this probability the runner-up is worth saying.
const CLEAR: f64 = 0.95;
/// Probability of a cluster's name: it only says which pieces look alike.
const CLUSTERED: f64 = 0.97;

/// Names the colours of one photo's pieces. Without swatches, or with none that
/// fits, alike pieces are clustered and named by ISCC-NBS.
pub fn name_colours(paints: &[Paint], book: Option<&SwatchBook>) -> Vec<Named> {
    let mut named: Vec<Option<Named>> = paints
        .iter()
        .map(|paint| {
            let found = book?.classify(paint.lab, paint.spread)?;
            (!found.new).then(|| Named {
                name: found.best,
                probability: found.probability,
                runner_up: found.runner_up.filter(|_| found.probability < CLEAR),
                new: false,
            })
        })
        .collect();
    let taught = book.is_some_and(|book| !book.names().is_empty());
    let open: Vec<usize> = (0..paints.len()).filter(|i| named[*i].is_none()).collect();
    let colours: Vec<[f64; 3]> = open.iter().map(|i| paints[*i].lab).collect();
    let clusters = cluster(&colours);
    for (k, i) in open.iter().enumerate() {
        let index = clusters.assignment.get(k).copied().unwrap_or(0);
        let name = clusters
            .names
            .get(index)
            .cloned()
            .unwrap_or_else(|| name_of(paints[*i].lab).to_owned());
        named[*i] = Some(Named {
            name,
            // Where colours were taught, one that fits none is for a person to name.
            probability: if taught { 0.5 } else { CLUSTERED },
            runner_up: None,
            new: taught,
        });
    }
    named.into_iter().flatten().collect()
}
