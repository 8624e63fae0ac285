//! Groups the colours of pieces that nobody taught us, and names the groups.

use kmeans_colors::get_kmeans;
use palette::white_point::D65;

use super::lab::de00;
use super::names::name_of;

type Lab = palette::Lab<D65, f32>;

/// No piece is further than this from its cluster's middle, dE00: the distance within which
/// a swatch still counts as the same colour ([`super::swatch::LIMIT`] times
/// [`super::swatch::BETWEEN_PHOTOS`], rounded). Raising it joins neighbouring colours,
/// lowering it splits shaded pieces off.
pub const RADIUS: f64 = 5.0;
/// More colours than this are not told apart.
const MOST: usize = 64;
/// Starts of k-means for each number of clusters; the tightest result counts.
const STARTS: u64 = 4;
const ROUNDS: usize = 60;

/// Pieces by colour.
#[derive(Clone, Debug, PartialEq)]
pub struct Clusters {
    /// For each piece, the index of its cluster.
    pub assignment: Vec<usize>,
    /// Mean colour of each cluster, CIELAB D65; dark to light.
    pub centres: Vec<[f64; 3]>,
    /// ISCC-NBS name of each cluster. Where two would share one, the lighter ones get ` 2`, ` 3`
    /// after it.
    pub names: Vec<String>,
}

/// Finds the colours among pieces (CIELAB D65).
///
/// The smallest number of k-means clusters is taken whose pieces all lie within [`RADIUS`] of the
/// middle; then clusters are joined, nearest first, as long as that still holds. The same
/// pieces in the same order give the same clusters. Colours that are not numbers
/// form a last cluster, `unnamed`.
pub fn cluster(pieces: &[[f64; 3]]) -> Clusters {
    let finite = |lab: &[f64; 3]| lab.iter().all(|v| v.is_finite());
    let good: Vec<[f64; 3]> = pieces.iter().copied().filter(finite).collect();
    let mut groups = join(split(&good));
    let lightness = |group: &Vec<[f64; 3]>| mean(group)[0];
    groups.sort_by(|a, b| lightness(a).total_cmp(&lightness(b)));

    let mut centres: Vec<[f64; 3]> = groups.iter().map(|group| mean(group)).collect();
    let known = centres.len();
    let nearest = |lab: &[f64; 3]| {
        if !finite(lab) {
            return known;
        }
        let distance = |centre: &[f64; 3]| de00(*centre, *lab);
        (0..known)
            .min_by(|&a, &b| distance(&centres[a]).total_cmp(&distance(&centres[b])))
            .unwrap_or(known)
    };
    let assignment: Vec<usize> = pieces.iter().map(nearest).collect();
    if good.len() < pieces.len() {
        centres.push([f64::NAN; 3]);
    }
    let names = distinct_names(&centres);
    Clusters {
        assignment,
        centres,
        names,
    }
}

/// Divides into as few groups as k-means needs to keep within the radius.
fn split(pieces: &[[f64; 3]]) -> Vec<Vec<[f64; 3]>> {
    if pieces.is_empty() {
        return Vec::new();
    }
    let points: Vec<Lab> = pieces
        .iter()
        .map(|lab| Lab::new(lab[0] as f32, lab[1] as f32, lab[2] as f32))
        .collect();
    let mut best = vec![pieces.to_vec()];
    for k in 2..=MOST.min(pieces.len()) {
        if widest(&best) <= RADIUS {
            break;
        }
        let divided = (0..STARTS).map(|seed| {
            // 0: the crate's test of convergence adds signed moves, so only a standstill is safe.
            let means = get_kmeans(k, ROUNDS, 0.0, false, &points, seed);
            let mut groups = vec![Vec::new(); means.centroids.len()];
            for (lab, &index) in pieces.iter().zip(&means.indices) {
                if let Some(group) = groups.get_mut(usize::from(index)) {
                    group.push(*lab);
                }
            }
            groups.retain(|group| !group.is_empty());
            groups
        });
        if let Some(tightest) = divided.min_by(|a, b| widest(a).total_cmp(&widest(b))) {
            best = tightest;
        }
    }
    best
}

/// Joins groups, nearest middles first, while the joined group keeps within the radius.
fn join(mut groups: Vec<Vec<[f64; 3]>>) -> Vec<Vec<[f64; 3]>> {
    loop {
        let mut nearest: Option<(f64, usize, usize)> = None;
        for i in 0..groups.len() {
            for j in i + 1..groups.len() {
                let distance = de00(mean(&groups[i]), mean(&groups[j]));
                let nearer = nearest.is_none_or(|(least, ..)| distance < least);
                if nearer && radius(&[&groups[i][..], &groups[j][..]].concat()) <= RADIUS {
                    nearest = Some((distance, i, j));
                }
            }
        }
        let Some((_, i, j)) = nearest else {
            return groups;
        };
        let joined = groups.remove(j);
        groups[i].extend(joined);
    }
}

fn mean(group: &[[f64; 3]]) -> [f64; 3] {
    let count = group.len().max(1) as f64;
    std::array::from_fn(|c| group.iter().map(|lab| lab[c]).sum::<f64>() / count)
}

fn radius(group: &[[f64; 3]]) -> f64 {
    let middle = mean(group);
    group
        .iter()
        .map(|lab| de00(middle, *lab))
        .fold(0.0, f64::max)
}

fn widest(groups: &[Vec<[f64; 3]>]) -> f64 {
    groups.iter().map(|group| radius(group)).fold(0.0, f64::max)
}

/// A name for each centre; the second and later of one name are numbered.
fn distinct_names(centres: &[[f64; 3]]) -> Vec<String> {
    let plain: Vec<&str> = centres.iter().map(|centre| name_of(*centre)).collect();
    let numbered = |(i, name): (usize, &&str)| match plain[..i]
        .iter()
        .filter(|before| *before == name)
        .count()
    {
        0 => (*name).to_owned(),
        before => format!("{name} {}", before + 1),
    };
    plain.iter().enumerate().map(numbered).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Pieces around some colours, in a fixed pattern of small deviations.
    fn around(colours: &[[f64; 3]], each: usize) -> Vec<[f64; 3]> {
        (0..colours.len() * each)
            .map(|i| {
                let wave = |phase: f64| (i as f64 * 2.4 + phase).sin();
                let [l, a, b] = colours[i % colours.len()];
                [
                    l + 1.5 * wave(0.0),
                    a + 1.5 * wave(1.0),
                    b + 1.5 * wave(2.0),
                ]
            })
            .collect()
    }

    #[test]
    fn as_many_clusters_as_colours() {
        let colours = [
            [20.0, 0.0, 0.0],
            [45.0, 60.0, 40.0],
            [40.0, 10.0, -45.0],
            [55.0, -45.0, 30.0],
            [80.0, 0.0, 75.0],
            [95.0, 0.0, 2.0],
        ];
        let pieces = around(&colours, 25);
        let clusters = cluster(&pieces);
        assert_eq!(clusters.centres.len(), colours.len(), "{clusters:?}");
        for (i, &assigned) in clusters.assignment.iter().enumerate() {
            assert_eq!(assigned, clusters.assignment[i % colours.len()]);
        }
        assert!(clusters.names.contains(&"black".to_owned()));
        assert!(clusters.names.contains(&"white".to_owned()));
    }

    #[test]
    fn two_shades_of_one_name_are_numbered_from_the_darker() {
        let (dark, light) = ([55.0, 1.0, 1.0], [47.0, 1.0, 1.0]);
        let clusters = cluster(&around(&[dark, light], 20));
        assert_eq!(clusters.names, ["medium gray", "medium gray 2"]);
        assert!(clusters.centres[0][0] < clusters.centres[1][0]);
    }

    #[test]
    fn few_and_odd_inputs() {
        assert!(cluster(&[]).centres.is_empty());
        let same = cluster(&[[50.0, 10.0, 10.0]; 9]);
        assert_eq!((same.centres.len(), &same.assignment[..]), (1, &[0; 9][..]));
        let odd = cluster(&[[f64::NAN, 0.0, 0.0], [50.0, 10.0, 10.0]]);
        assert_eq!(odd.assignment, [1, 0]);
        assert_eq!(odd.names[1], "unnamed");
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 32, rng_seed: proptest::test_runner::RngSeed::Fixed(7), failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn every_piece_is_near_its_cluster_and_names_differ(
            pieces in prop::collection::vec((0.0..100.0, -60.0..60.0, -60.0..60.0), 1..40)
        ) {
            let pieces: Vec<[f64; 3]> = pieces.into_iter().map(|(l, a, b)| [l, a, b]).collect();
            let clusters = cluster(&pieces);
            prop_assert_eq!(&clusters, &cluster(&pieces));
            for (piece, &index) in pieces.iter().zip(&clusters.assignment) {
                prop_assert!(de00(*piece, clusters.centres[index]) <= RADIUS + 1e-9);
            }
            let mut names = clusters.names.clone();
            names.sort();
            names.dedup();
            prop_assert_eq!(names.len(), clusters.names.len());
        }
    }
}
