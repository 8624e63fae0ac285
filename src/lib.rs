//! cuptally counts loose building bricks on a tray from one overhead photo.
//!
//! The modules are declared in the order in which a photo passes through them;
//! none imports a later one. Only [`cli`], [`photo`],
//! [`desk`], [`review`], [`serve`] and [`stock`] touch files or sockets.
//! Frames, units, colour spaces, files and exit codes: `docs/conventions.md`.
//!
//! | stage | takes | gives |
//! |---|---|---|
//! | [`drawing`] | shapes and words in mm | a drawing, and pixels of it |
//! | [`photo`] | bytes of a JPEG, PNG or HEIC | upright linear pixels of known primaries |
//! | [`card`] | pixels | where our printed card lies, its patches |
//! | [`view`] | card corners | camera pose, plane <-> picture, the metric view in mm |
//! | [`colour`] | patches | a correction into CIELAB (D65), names |
//! | [`tray`] | metric view | the empty tray's colour, pieces from ground |
//! | [`pieces`] | foreground | pieces with form, size, turn |
//! | [`sheet`] | what was found | the sheet file and the marked-up picture |
//! | [`count`] | pieces | a sheet's groups with a range, doubts |
//! | [`together`] | what several photos of one tray show | one account of each piece |
//! | [`pipeline`] | a photo, or several of one tray | its sheet: the stages above, in order |
//! | [`stock`] | sheets | what is owned, and its history |
//! | [`serve`] | a browser's questions | answers, to this user's browser alone |
//! | [`review`] | sheets, a person's corrections | sheets put right, posted |
//! | [`cover`] | a plan and the stock | what can be built, what to fetch, what to buy |
//! | [`desk`] | what a page asks | all of the above, by the commands that do it |

pub mod units;
pub mod numbers;
pub mod legible;
pub mod drawing;

pub mod photo;
pub mod card;
pub mod view;
pub mod colour;
pub mod tray;
pub mod pieces;
pub mod sheet;
pub mod count;
pub mod together;
pub mod pipeline;
pub mod stock;
pub mod serve;
pub mod review;
pub mod cover;
pub mod desk;

pub mod cli;
