//! The net in plain Rust against torch, with the weights that are part of the program.
//!
//! `tests/data/learned/reference.safetensors` holds an input and what torch answers to it;

//! `sample-photos/studio/learn` writes it together with the weights.

use cuptally::pieces::learned::Net;
use ndarray::Array3;
use safetensors::SafeTensors;

const REFERENCE: &[u8] = include_bytes!("../data/learned/reference.safetensors");

fn tensor(name: &str) -> Array3<f32> {
    let file = SafeTensors::deserialize(REFERENCE).unwrap();
    let tensor = file.tensor(name).unwrap();
    let (numbers, rest) = tensor.data().as_chunks::<4>();
    assert!(rest.is_empty());
    let numbers = numbers.iter().map(|bytes| f32::from_le_bytes(*bytes));
    let shape: [usize; 3] = tensor.shape().try_into().unwrap();
    Array3::from_shape_vec(shape, numbers.collect()).unwrap()
}

/// Two programs add up some hundred products a layer in different orders, each rounded to a
/// relative 6e-8, through about 25 layers: some 1e-5 of the largest value on the way, which
/// is below 50. A wrong layer, border or order of channels is off by whole units.
const ROUNDING: f32 = 1e-3;

#[test]
fn the_net_answers_as_torch_does() {
    let input = tensor("input");
    let expected = tensor("output");
    assert_eq!(input.dim(), (6, 64, 96));
    assert_eq!(expected.dim(), (42, 16, 24));
    let output = Net::shipped().unwrap().of(&input).unwrap();
    assert_eq!(output.dim(), (16, 24, 42));
    let mut furthest = 0.0f32;
    let mut spread = 0.0f32;
    for ((channel, row, column), value) in expected.indexed_iter() {
        furthest = furthest.max((output[(row, column, channel)] - value).abs());
        spread = spread.max(value.abs());
    }
    // The reference says something: it is no picture of zeros.
    assert!(spread > 1.0, "the largest value is {spread}");
    assert!(furthest < ROUNDING, "up to {furthest} off");
}

/// Whatever the number of threads, the same to the last bit.
#[test]
fn the_answer_does_not_depend_on_threads() {
    let net = Net::shipped().unwrap();
    let input = tensor("input");
    let with = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads);
        pool.build().unwrap().install(|| net.of(&input).unwrap())
    };
    let one = with(1);
    assert_eq!(one, with(2));
    assert_eq!(one, with(7));
}
