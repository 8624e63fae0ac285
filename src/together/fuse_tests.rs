use nalgebra::{Rotation3, Vector3};

use super::super::{Drift, Instance, Sighting, View, matched};
use super::*;
use crate::pieces::Face;
use crate::pieces::learned::Lies;
use crate::pieces::list::tests::shape;
use crate::units::Px;
use crate::view::Camera;

/// Looking down from 450 mm above a place of the tray.
fn camera(x: f64, y: f64) -> Camera {
    Camera {
        focal_px: 1500.0,
        centre: Px::new(1000.0, 750.0),
        k1: 0.0,
        rotation: Rotation3::identity(),
        translation: Vector3::new(-x, -y, 450.0),
    }
}

fn odds(right: f64, others: &[(Shape, f64)]) -> ShapeOdds {
    ShapeOdds {
        right,
        others: others.to_vec(),
        doubts: Vec::new(),
    }
}

/// How a piece at `at` is taken for another shape by a camera: its silhouette's middle stays where it is.
fn taken_for(other: Shape, of: Shape, at: Mm, camera: &Camera) -> Stance {
    let lies = |shape| Lies::of(shape, Face::Up).unwrap();
    Stance {
        shape: other,
        face: Face::Up,
        at: lies(other).at(lies(of).seen(at, camera), camera),
        turn: 0.3,
    }
}

fn view<'a>(camera: &'a Camera, sightings: Vec<(Stance, &'a ShapeOdds)>) -> View<'a> {
    let sightings = sightings.into_iter().map(|(stance, odds)| Sighting {
        stance,
        odds,
        covered: 0.0,
        heaped: false,
    });
    View {
        camera,
        size_px: [2000.0, 1500.0],
        sightings: sightings.collect(),
        drift: Drift::NONE,
    }
}

#[test]
fn parallax_tells_a_brick_from_a_plate_against_what_each_photo_says() {
    let (brick, plate) = (shape("brick", "2x4"), shape("plate", "2x4"));
    let rather_plate = odds(0.7, &[(brick, 0.28)]);
    let at = Mm::new(30.0, 20.0);
    let cameras = [camera(-120.0, 0.0), camera(140.0, 30.0), camera(0.0, 160.0)];
    let of = |camera| {
        let taken_for = taken_for(plate, brick, at, camera);
        view(camera, vec![(taken_for, &rather_plate)])
    };
    let views: Vec<View> = cameras.iter().map(of).collect();
    let two = fuse(&views[..2], &matched(&views[..2])[0], true).unwrap();
    assert_eq!(two.stance.shape, brick);
    assert!((0.7..0.9).contains(&two.odds.right), "{:?}", two.odds);
    let instances = matched(&views);
    assert_eq!(instances.len(), 1);
    let fused = fuse(&views, &instances[0], true).unwrap();
    assert_eq!(fused.stance.shape, brick);
    assert!(fused.odds.right > two.odds.right, "{:?}", fused.odds);
    assert!(fused.stance.at.distance(at) < 0.01);
    let height_mm = fused.height_mm.unwrap();
    assert!((height_mm - 9.6).abs() < 0.1, "{height_mm}");
    // Where the tray was moved places tell nothing, and the photos' own words are left.
    let by_words = fuse(&views, &instances[0], false).unwrap();
    assert_eq!((by_words.stance.shape, by_words.height_mm), (plate, None));
    assert!((0.65..0.75).contains(&by_words.odds.right));
    assert_eq!(by_words.odds.doubts, [Doubt::Form(brick.form())]);
}

#[test]
fn what_looks_alike_from_everywhere_is_no_surer_by_two_photos() {
    let (plate, tile) = (shape("plate", "2x2"), shape("tile", "2x2"));
    let either = odds(0.6, &[(tile, 0.38)]);
    let at = Mm::new(-10.0, 60.0);
    let cameras = [camera(-120.0, 0.0), camera(140.0, 30.0), camera(0.0, 150.0)];
    let views: Vec<View> = (cameras.iter())
        .map(|camera| view(camera, vec![(taken_for(plate, plate, at, camera), &either)]))
        .collect();
    let fused = fuse(&views, &matched(&views)[0], true).unwrap();
    assert_eq!(fused.stance.shape, plate);
    assert!((0.55..0.65).contains(&fused.odds.right), "{:?}", fused.odds);
}

#[test]
fn neighbours_are_matched_each_with_itself() {
    let (small, sure) = (shape("plate", "1x1"), odds(0.98, &[]));
    let places = [Mm::new(0.0, 0.0), Mm::new(8.0, 0.0), Mm::new(0.0, 8.0)];
    let cameras = [camera(-120.0, 0.0), camera(140.0, 30.0)];
    let of = |camera, order: [usize; 3]| {
        let stances = order.map(|k| (taken_for(small, small, places[k], camera), &sure));
        view(camera, stances.to_vec())
    };
    let views = [of(&cameras[0], [0, 1, 2]), of(&cameras[1], [2, 0, 1])];
    let pairs: Vec<Vec<Option<usize>>> = matched(&views)
        .into_iter()
        .map(|one| one.sightings)
        .collect();
    let own = |a, b| vec![Some(a), Some(b)];
    assert_eq!(pairs, [own(0, 1), own(1, 2), own(2, 0)]);
}

#[test]
fn one_photo_alone_tells_what_it_told() {
    let (plate, tile) = (shape("plate", "2x2"), shape("tile", "2x2"));
    let told = odds(0.8, &[(tile, 0.15)]);
    let camera = camera(0.0, 0.0);
    let views = [view(
        &camera,
        vec![(taken_for(plate, plate, Mm::new(20.0, 20.0), &camera), &told)],
    )];
    let instance = Instance {
        sightings: vec![Some(0)],
    };
    let fused = fuse(&views, &instance, true).unwrap();
    assert!((fused.odds.right - 0.8).abs() < 0.01, "{:?}", fused.odds);
    assert_eq!((fused.height_mm, fused.spread_mm), (None, 0.0));
}

/// Its underside is a plate's as well as a tile's; turned over in place, two millimetres off, its studs tell.
#[test]
fn a_piece_turned_over_between_the_photos_is_told_by_the_side_that_tells() {
    let (plate, tile) = (shape("plate", "2x3"), shape("tile", "2x3"));
    let underside = odds(0.5, &[(tile, 0.48)]);
    let studs = odds(0.97, &[(tile, 0.01)]);
    let (left, right) = (camera(-120.0, 0.0), camera(120.0, 0.0));
    let at = |x: f64, face: Face| Stance {
        shape: plate,
        face,
        at: Mm::new(x, 20.0),
        turn: 0.3,
    };
    let views = [
        view(&left, vec![(at(30.0, Face::Down), &underside)]),
        view(&right, vec![(at(32.0, Face::Up), &studs)]),
    ];
    let instances = matched(&views);
    assert_eq!(instances.len(), 1);
    let told = fuse(&views, &instances[0], true).unwrap();
    assert_eq!(told.stance.shape, plate);
    // By hand 0.83, less what two millimetres take.
    assert!(told.odds.right > 0.7, "{:?}", told.odds);
    // The same two photos of a piece that nobody turned leave it open.
    let still = [
        view(&left, vec![(at(30.0, Face::Down), &underside)]),
        view(&right, vec![(at(30.0, Face::Down), &underside)]),
    ];
    let unturned = fuse(&still, &matched(&still)[0], true).unwrap();
    // An underside on its studs lies higher than one without, which places tell a little.
    assert!(
        unturned.odds.right < told.odds.right - 0.05,
        "{:?}",
        unturned.odds
    );
}
