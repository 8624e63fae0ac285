//! Cover: how far the stock reaches for a plan, and what is still to be bought.
//!
//! | step | modules | gives |
//! |---|---|---|
//! | what is wanted | [`plan`], [`join`] | a [`Plan`] from JSON or CSV; ways to join pieces |
//! | what there is | [`supply`], [`offers`], [`packing`] | pieces by kind, for certain and likely; what can be bought |
//! | who may take what | [`network`] | demand and supply, alike ones gathered |
//! | the best allotment | [`program`], [`model`], [`solve`] | integer programs, one after the other; a kept library solves them |
//! | what that means | [`answer`], [`fetch`], [`advice`], [`remarks`], [`report`] | lists for people and programs |
//!
//! Nothing here touches a file: `cli` reads plan, stock and offers, and hands them in.

pub mod join;
pub mod plan;

pub mod supply;
pub mod packing;
pub mod offers;

pub mod network;
pub mod program;
pub mod model;
pub mod solve;

pub mod answer;
pub mod fetch;
pub mod advice;
pub mod remarks;
pub mod report;

pub use offers::Offers;
pub use plan::{Plan, PlanError};
