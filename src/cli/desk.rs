//! `cuptally desk`: the whole job on one page in the browser.

use std::net::Ipv4Addr;
use std::sync::Arc;
use std::time::Instant;

use super::page::PageArgs;
use super::{Context, Failure, Outcome, demo, home, say};
use crate::desk::api::Desk;
use crate::desk::reviewing::Home;
use crate::desk::routes::routes;
use crate::serve::phones::{Phones, home_addresses};
use crate::serve::{qr, site};
use crate::stock::Stamp;

/// Arguments of `cuptally desk`.
#[derive(clap::Args)]
pub struct Args {
    /// Let phones of the home network in, too: each is paired by a code that is shown here. Photos then go through that
    /// network unencrypted.
    #[arg(long, value_name = "ADDRESS", num_args = 0..=1, require_equals = true)]
    phone: Option<Option<Ipv4Addr>>,

    #[command(flatten)]
    page: PageArgs,
}

/// Serves the page until it is closed there or Ctrl+C is pressed.
///
/// # Errors
/// When the home folder cannot be used, or the server cannot run.
pub fn run(args: &Args, context: &Context) -> Result<Outcome, Failure> {
    Stamp::of_environment().map_err(|e| Failure::wrong_use(e.to_string()))?;
    let mut ready = site::listen(args.page.port())?;
    let site = ready.site();
    let home = Home {
        shapes: |home| home::shapes(home).map_err(|failure| failure.to_string()),
        printed: |home| home::targets(home, None).ok(),
    };
    let phones = match args.phone {
        None => None,
        Some(address) => Some(ready.open_door(door_at(address)?)?),
    };
    let desk = Desk::open(
        &context.home,
        home,
        demo::sample_photos().ok(),
        phones.clone(),
        move || site.end(),
    )
    .map_err(Failure::failed)?;
    context.tell_home();
    say::print(&ready.address())?;
    say::note("open this address in a browser; Ctrl+C ends");
    if let Some(phones) = &phones {
        show_door(phones)?;
    }
    args.page.open(&ready);
    ready.serve(routes(Arc::new(desk)))?;
    Ok(Outcome::Done)
}

/// Where phones come in: the address that was named, or the only one in a home network.
fn door_at(named: Option<Ipv4Addr>) -> Result<Ipv4Addr, Failure> {
    let found = home_addresses();
    match (named, found.as_slice()) {
        (Some(named), _) if named.is_private() => Ok(named),
        (Some(named), _) => Err(Failure::wrong_use(format!(
            "{named} is no address of a home network, and phones are let in from none else"
        ))),
        (None, []) => Err(Failure::failed(
            "this computer is in no home network that phones could come from; join one, or carry photos over by cable",
        )),
        (None, [first, rest @ ..]) => {
            if !rest.is_empty() {
                let others: Vec<String> = rest.iter().map(ToString::to_string).collect();
                say::note(&format!(
                    "of several networks phones are let in from that of {first}; for another, name one with --phone={}",
                    others.join(" or --phone=")
                ));
            }
            Ok(*first)
        }
    }
}

/// Shows the first code, to be read by a phone's camera.
fn show_door(phones: &Phones) -> Result<(), Failure> {
    let now = Instant::now();
    phones
        .new_code(now)
        .map_err(|cause| Failure::failed(format!("the system gives no random numbers: {cause}")))?;
    if let Some(address) = phones.shown(now).address {
        if say::is_seen()
            && let Some(modules) = qr::modules(&address)
        {
            for line in qr::lines(&modules) {
                say::print(&line)?;
            }
        }
        say::print(&address)?;
    }
    say::note(
        "the second address is for a phone, once and within ten minutes; photos go through your home network unencrypted, so let phones in only where you trust it",
    );
    Ok(())
}
