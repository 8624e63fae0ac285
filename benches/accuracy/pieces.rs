//! Every wrong, missed and invented piece of a photo, for whoever mends the program.

use crate::matching::stray_under;
use crate::program::{Said, SaidPiece};
use crate::score::Score;
use crate::truth::Truth;

/// Prints a line a fault; places are mm from the card's top left corner.
pub fn print(truth: &Truth, said: &Said, score: &Score) {
    let mut matched = vec![false; said.pieces.len()];
    for (piece, found) in truth.pieces.iter().zip(&score.matches) {
        let is = format!(
            "{} {} {}, {}",
            piece.colour, piece.form, piece.size, piece.face
        );
        let Some((index, found)) = found.and_then(|i| Some((i, said.pieces.get(i)?))) else {
            if piece.x_px.is_some() {
                let at = place(piece.x_mm, piece.y_mm);
                println!("  missed    {at}: {is}");
            }
            continue;
        };
        if let Some(mark) = matched.get_mut(index) {
            *mark = true;
        }
        let mut wrong = Vec::new();
        for (what, right) in [
            ("form", found.form == piece.form),
            ("size", found.size == piece.size),
            ("colour", found.colour == piece.colour),
        ] {
            if !right {
                wrong.push(what);
            }
        }
        if !wrong.is_empty() {
            let at = place(piece.x_mm, piece.y_mm);
            println!(
                "  wrong     {at}: {}; is {is} ({})",
                told(found),
                wrong.join(", ")
            );
        }
    }
    for (piece, _) in said.pieces.iter().zip(matched).filter(|(_, m)| !m) {
        let of = stray_under(truth, piece).map(|s| format!("; is a stray: {}", s.what));
        let at = place(piece.x_mm, piece.y_mm);
        println!(
            "  invented  {at}: {}{}",
            told(piece),
            of.unwrap_or_default()
        );
    }
}

fn place(x: f64, y: f64) -> String {
    format!("{x:7.1} {y:7.1} mm")
}

fn told(piece: &SaidPiece) -> String {
    let mark = if piece.sure >= cuptally::sheet::SURE {
        " SURE"
    } else {
        ""
    };
    format!(
        "said {} {} {}, {}, at {:.3}{mark} (no. {})",
        piece.colour, piece.form, piece.size, piece.face, piece.sure, piece.id
    )
}
