//! `colours rename`, `merge` and `forget`: in the taught colours, and in the stock.
//!
//! The stock is changed first, the taught colours after it, each in one step. Stopped in between, the same command
//! finishes: by then the stock has nothing of the old name, and what has none of it is left alone.

use crate::cli::stock::rename_in_stock;
use crate::cli::{Context, Failure, Outcome, home, say};
use crate::colour::SwatchBook;
use crate::review::finish::{Standing, standing};
use crate::review::swatches::{self, SwatchFileError};
use crate::stock::Stock;
use crate::stock::file::StockFile;
use crate::stock::inbox;
use crate::stock::kind::Name;
use crate::stock::near::nearest;
use crate::stock::rename::{Renamed, Subject};
use crate::stock::shell::quoted;

/// What is known of colours before anything changes.
struct Before {
    book: SwatchBook,
    stock: Option<Stock>,
}

impl Before {
    fn of(context: &Context) -> Result<Self, Failure> {
        Ok(Self {
            book: home::swatches(&context.home)?,
            stock: StockFile::in_home(&context.home).read()?,
        })
    }

    fn is_taught(&self, colour: &Name) -> bool {
        self.book.names().contains(&colour.as_str())
    }

    /// Pieces of a colour in stock, pending ones among them, and in how many places; none where there are none.
    fn in_stock(&self, colour: &Name) -> Result<Option<(u64, usize)>, Failure> {
        let Some(stock) = &self.stock else {
            return Ok(None);
        };
        let (mut pieces, mut places) = (0, 0);
        for place in stock.contents.place_names() {
            let lots = stock.contents.only(place).totals(true)?;
            let own = lots.iter().filter(|(kind, _)| kind.colour == *colour);
            let here: u64 = own.map(|(_, tally)| tally.count()).sum();
            let listed = lots.iter().any(|(kind, _)| kind.colour == *colour);
            pieces += here;
            places += usize::from(listed);
        }
        Ok((places > 0).then_some((pieces, places)))
    }

    /// Refuses a name that neither the taught colours nor the stock have.
    fn require(&self, colour: &Name) -> Result<(), Failure> {
        if self.is_taught(colour) || self.in_stock(colour)?.is_some() {
            return Ok(());
        }
        let taught: Vec<Name> = (self.book.names().into_iter())
            .filter_map(|name| Name::new(name).ok())
            .collect();
        let stocked = self.stock.as_ref().map(|stock| stock.contents.totals(true));
        let stocked: Vec<Name> = match stocked {
            Some(lots) => lots?.iter().map(|(kind, _)| kind.colour.clone()).collect(),
            None => Vec::new(),
        };
        let meant = nearest(colour, taught.iter().chain(&stocked));
        Err(Failure::failed(match meant {
            Some(near) => format!(
                "nothing was changed: no colour is called '{colour}'; did you mean '{near}'?"
            ),
            None => format!(
                "nothing was changed: no colour is called '{colour}'; `cuptally colours` lists those that were taught"
            ),
        }))
    }
}

/// Gives a colour another name.
///
/// # Errors
/// When there is none of the old name or one of the new, or a file cannot be written.
pub fn rename(old: &Name, new: &Name, context: &Context) -> Result<Outcome, Failure> {
    let before = Before::of(context)?;
    before.require(old)?;
    if old == new {
        return Err(Failure::wrong_use(format!(
            "nothing was changed: the colour is called '{new}' already"
        )));
    }
    let is_other = before.is_taught(old) && before.is_taught(new)
        || before.in_stock(old)?.is_some() && before.in_stock(new)?.is_some();
    if is_other {
        return Err(Failure::wrong_use(format!(
            "nothing was changed: there is a colour '{new}' already; if the two are one, say `{}`",
            context.call(&format!("colours merge {} {}", word(old), word(new)))
        )));
    }
    call_both(old, new, false, &before, context)?;
    say::print_wrapped(
        &format!(
            "to take it back: {}",
            context.call(&format!("colours rename {} {}", word(new), word(old)))
        ),
        2,
    )?;
    tell_sheets(&before, old, context)
}

/// Makes two colours one.
///
/// # Errors
/// When there is no such colour, or a file cannot be written.
pub fn merge(from: &Name, into: &Name, context: &Context) -> Result<Outcome, Failure> {
    let before = Before::of(context)?;
    before.require(from)?;
    before.require(into)?;
    if from == into {
        return Err(Failure::wrong_use(format!(
            "nothing was changed: '{from}' and '{into}' are one colour already"
        )));
    }
    let was_taught = before.is_taught(from) && before.is_taught(into);
    call_both(from, into, true, &before, context)?;
    if was_taught {
        say::print_wrapped(
            &format!("to part them again, undo that in the stock and teach '{from}' anew"),
            2,
        )?;
    }
    tell_sheets(&before, from, context)
}

/// The new name in the stock, then in the taught colours.
fn call_both(
    old: &Name,
    new: &Name,
    merge: bool,
    before: &Before,
    context: &Context,
) -> Result<(), Failure> {
    match before.in_stock(old)? {
        Some(_) => {
            let renamed = Renamed {
                what: Subject::Colour,
                from: old.clone(),
                to: new.clone(),
            };
            rename_in_stock(renamed, merge, false, context)?;
        }
        None => say::print(&format!("the stock holds nothing of {old}"))?,
    }
    if !before.is_taught(old) {
        return say::print(&format!("'{old}' was not taught, so no teaching changed"));
    }
    swatches::change(&context.home, |book| -> Result<_, SwatchFileError> {
        Ok(book.rename(old.as_str(), new.as_str()))
    })?;
    let done = if merge {
        format!("what was taught of {old} counts as {new} now")
    } else {
        format!("the taught colour {old} is called {new} now")
    };
    say::print(&done)?;
    say::print(&format!(
        "kept: {}",
        swatches::path(&context.home).display()
    ))
}

/// Forgets what was taught of a colour.
///
/// # Errors
/// When it was not taught, or not in that light, or the file cannot be written.
pub fn forget(colour: &Name, light: Option<&str>, context: &Context) -> Result<Outcome, Failure> {
    let before = Before::of(context)?;
    if !before.is_taught(colour) {
        before.require(colour)?;
        return Err(Failure::failed(format!(
            "nothing was changed: '{colour}' was never taught; it is only a name in the stock"
        )));
    }
    let own = |s: &&crate::colour::Swatch| s.name == colour.as_str();
    let lights: Vec<&str> = (before.book.swatches().iter().filter(own))
        .map(|s| s.light.as_str())
        .collect();
    if let Some(light) = light.filter(|light| !lights.contains(light)) {
        return Err(Failure::failed(format!(
            "nothing was changed: {colour} was not taught in light '{light}', but in {}",
            lights.join(", ")
        )));
    }
    let left = swatches::change(&context.home, |book| -> Result<_, SwatchFileError> {
        book.forget_colour(colour.as_str(), light);
        Ok(book.names().contains(&colour.as_str()))
    })?;
    match (light, left) {
        (Some(light), true) => say::print(&format!(
            "forgot how {colour} looks in light '{light}'; it is still known in others"
        ))?,
        _ => say::print(&format!(
            "forgot {colour}: no piece will be called so by a count"
        ))?,
    }
    if let Some((pieces, places)) = before.in_stock(colour)? {
        let pieces = say::plural(pieces as usize, "piece", "pieces");
        let places = say::plural(places, "place", "places");
        say::print(&format!(
            "the stock keeps what it holds of it: {pieces} in {places}"
        ))?;
    }
    say::print(&format!(
        "kept: {}",
        swatches::path(&context.home).display()
    ))?;
    if left {
        return Ok(Outcome::Done);
    }
    tell_sheets(&before, colour, context)
}

/// Says how many sheets outside of the stock name a colour: what they say is as it was counted, or as somebody put
/// it right, and stays so.
fn tell_sheets(before: &Before, colour: &Name, context: &Context) -> Result<Outcome, Failure> {
    let folder = context.home.join("sheets");
    if !folder.is_dir() {
        return Ok(Outcome::Done);
    }
    let mut naming = 0;
    for path in inbox::sheets_in(&folder)? {
        // What cannot be read is told where it is used.
        let Ok(sheet) = inbox::read_sheet(&path) else {
            continue;
        };
        let names = sheet.pieces.iter().any(|p| p.colour == colour.as_str())
            || sheet
                .groups
                .iter()
                .any(|g| g.is_counted() && g.colour == colour.as_str());
        let is_new = match &before.stock {
            Some(stock) => standing(stock, &sheet.photos.first.hash)? == Standing::New,
            None => true,
        };
        naming += usize::from(names && is_new);
    }
    if naming == 0 {
        return Ok(Outcome::Done);
    }
    let sheets = match naming {
        1 => "1 sheet that is not posted yet still names it".to_owned(),
        n => format!("{n} sheets that are not posted yet still name it"),
    };
    say::print_wrapped(
        &format!(
            "{sheets}: {colour}; count those photos again, or rename it there with R on the page of `{}`",
            context.call("review")
        ),
        2,
    )?;
    Ok(Outcome::NeedsALook)
}

fn word(name: &Name) -> String {
    quoted(name.as_str())
}
