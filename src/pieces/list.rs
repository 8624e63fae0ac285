//! The list of shapes: what is shipped, and what the user adds to it (`calibration/shapes.json` in
//! the home folder).

mod file;

use std::sync::OnceLock;

use thiserror::Error;

use super::shape::{Form, Moulding, Shape};
use file::read;
pub(super) use file::sides;

/// The shapes that the program brings along.
const SHIPPED: &str = include_str!("shapes.json");
/// Most studs along a side: what is larger reaches across the tray.
pub const MOST_STUDS: u8 = 16;
/// Most shapes of a list: each is tried at every place.
const MOST_SHAPES: usize = 500;

/// Every shape that pieces may have.
///
/// A list is read once and stays for as long as the program runs.
#[derive(Clone, Copy, Debug)]
pub struct Shapes {
    all: &'static [Moulding],
}

/// Why a list cannot be used; each is a sentence.
#[derive(Debug, Error)]
pub enum ShapeError {
    /// The text is no list.
    #[error(
        "this is not a list of shapes of version v1 or v2 ({0}); put it right by the example in docs/shapes.md"
    )]
    Format(#[from] serde_json::Error),
    /// Too many.
    #[error("the list has more than {MOST_SHAPES} shapes; take out what you do not own")]
    TooMany,
    /// One entry is none.
    #[error("{form} {size} {what}; put this entry right or take it out")]
    Entry {
        /// Its form, as given.
        form: String,
        /// Its size, as given.
        size: String,
        /// What is wrong.
        what: String,
    },
}

impl Shapes {
    /// What the program brings along.
    pub fn shipped() -> Self {
        static LIST: OnceLock<&'static [Moulding]> = OnceLock::new();
        // A test holds the shipped list to be sound.
        let read = || read(SHIPPED, &[]).unwrap_or_default().leak() as &'static [Moulding];
        Self {
            all: LIST.get_or_init(read),
        }
    }

    /// These shapes and those of a user's list.
    ///
    /// # Errors
    /// When the text is no such list, a shape is listed already, or one cannot be.
    pub fn extended(self, text: &str) -> Result<Self, ShapeError> {
        let mut all = self.all.to_vec();
        all.extend(read(text, self.all)?);
        Ok(Self { all: all.leak() })
    }

    /// Whether this is the very same list.
    pub fn is(self, other: Self) -> bool {
        std::ptr::eq(self.all, other.all)
    }

    /// All of them, in the list's order.
    pub fn all(self) -> impl Iterator<Item = Shape> {
        self.all.iter().map(Shape::of)
    }

    /// Every form once, in the list's order.
    pub fn forms(self) -> Vec<Form> {
        let mut forms: Vec<Form> = Vec::new();
        for shape in self.all() {
            if !forms.contains(&shape.form()) {
                forms.push(shape.form());
            }
        }
        forms
    }

    /// The form of that name.
    pub fn form(self, name: &str) -> Option<Form> {
        let mut forms = self.all().map(Shape::form);
        forms.find(|form| form.name() == name)
    }

    /// The shapes of one form, in the list's order.
    pub fn of_form(self, form: Form) -> Vec<Shape> {
        self.all().filter(|shape| shape.form() == form).collect()
    }

    /// The shape of that form and size.
    pub fn named(self, form: &str, size: &str) -> Option<Shape> {
        self.all()
            .find(|shape| shape.form().name() == form && shape.size() == size)
    }
}

#[cfg(test)]
pub(crate) mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    /// A shipped shape.
    pub(crate) fn shape(form: &str, size: &str) -> Shape {
        Shapes::shipped().named(form, size).unwrap()
    }

    #[test]
    fn the_shipped_list_holds_what_is_promised() {
        assert_eq!(read(SHIPPED, &[]).unwrap().len(), 3 * 18 + 3);
        let list = Shapes::shipped();
        let names: Vec<&str> = list.forms().iter().map(|form| form.name()).collect();
        assert_eq!(names, ["brick", "plate", "tile", "corner", "round"]);
        for form in ["brick", "plate", "tile"] {
            let mut sizes: Vec<String> = (1..=8).map(|n| format!("1x{n}")).collect();
            sizes.extend((2..=8).map(|n| format!("2x{n}")));
            sizes.extend(["4x4", "4x6", "6x6"].map(str::to_owned));
            let listed = list.of_form(list.form(form).unwrap());
            let listed: Vec<String> = listed.into_iter().map(Shape::size).collect();
            assert_eq!(listed, sizes);
        }
        assert_eq!(shape("brick", "2x4").height_mm(), 9.6);
        assert!(!shape("tile", "2x4").has_studs() && shape("plate", "1x1").has_studs());
    }

    /// By hand: the box is 15.8 mm wide, an arm 7.8 mm, so the notch 8.0 mm:
    /// 15.8² - 8.0² = 185.64 mm².
    #[test]
    fn a_corner_has_its_clearance_all_round() {
        let corner = shape("corner", "2x2");
        assert!(
            (corner.area_mm2() - 185.64).abs() < 1e-6,
            "{}",
            corner.area_mm2()
        );
        assert_eq!((corner.long_mm(), corner.short_mm()), (15.8, 15.8));
        assert!(!corner.is_block() && !corner.is_round());
        // The cell without a stud is the one away from the viewer, on the right.
        assert_eq!(corner.studs(), [(-4.0, 4.0), (4.0, 4.0), (-4.0, -4.0)]);
        let disc = shape("round", "2x2");
        let full = std::f64::consts::PI * 7.9 * 7.9;
        assert!((disc.area_mm2() / full - 1.0).abs() < 0.01);
        assert_eq!(disc.studs().len(), 4);
        assert!(shape("plate", "4x6").is_block());
    }

    fn list(entry: &str) -> String {
        format!(r#"{{"shapes": "v1", "pieces": [{entry}]}}"#)
    }

    #[test]
    fn a_user_adds_shapes_and_sizes() {
        let wedge = r#"{"form": "left wedge", "sizes": ["2x3"], "height_mm": 3.2,
            "outline": [[0, 0], [3, 0], [1, 2], [0, 2]], "studs": [[0.5, 0.5], [1.5, 0.5], [0.5, 1.5]]}"#;
        let long =
            r#"{"form": "plate", "sizes": ["2x10", "8x8"], "height_mm": 3.2, "studs": "all"}"#;
        let shapes = Shapes::shipped()
            .extended(&list(&format!("{wedge}, {long}")))
            .unwrap();
        let wedge = shapes.named("left wedge", "2x3").unwrap();
        assert_eq!(wedge.same_after_deg(), 360.0);
        assert!(shapes.named("plate", "8x8").is_some_and(Shape::is_block));
        // The shipped list is as it was.
        assert!(Shapes::shipped().named("plate", "8x8").is_none());
    }

    #[test]
    fn a_profile_is_a_matter_of_the_second_version() {
        let roof = r#"{"form": "roof", "sizes": ["2x3"], "height_mm": 9.6,
            "studs": [[0.5, 1.5], [1.5, 1.5], [2.5, 1.5]],
            "profile": {"along": "short", "top": [[0, 1.6], [1, 9.6], [2, 9.6]]}}"#;
        let second = |entry: &str| list(entry).replace("v1", "v2");
        let shapes = Shapes::shipped().extended(&second(roof)).unwrap();
        let listed = shapes.named("roof", "2x3").unwrap();
        assert!(!listed.is_block() && listed.same_after_deg() == 360.0);
        // y runs away from the viewer, and `across` towards them: the foot is where across is most.
        let foot = listed.corners().into_iter().find(|c| c.2 == 1.6).unwrap();
        assert!((foot.1 - 7.9).abs() < 1e-9, "{foot:?}");
        assert!(
            listed
                .studs()
                .iter()
                .all(|stud| stud.1 == -4.0 && listed.foot_mm(*stud) == 9.6)
        );
        let says = |text: String| Shapes::shipped().extended(&text).unwrap_err().to_string();
        for (text, reason) in [
            (list(roof), "write \"shapes\": \"v2\""),
            (
                second(&roof.replace("[2.5, 1.5]", "[2.5, 0.5]")),
                "not level",
            ),
            (
                second(&roof.replace("[2, 9.6]", "[3, 9.6]")),
                "to the end of its side",
            ),
            (second(&roof.replace("short", "wide")), "version v1 or v2"),
            (
                second(&roof.replace(
                    "\"studs\"",
                    "\"outline\": [[1, 0], [3, 0], [3, 2], [0, 2], [0, 1]], \"studs\"",
                )),
                "no rectangle",
            ),
        ] {
            let said = says(text);
            assert!(said.contains(reason), "{reason}: {said}");
        }
    }

    #[test]
    fn what_cannot_be_a_shape_is_refused_with_the_reason() {
        let good = r#"{"form": "wing", "sizes": ["2x3"], "height_mm": 3.2, "outline": [[0, 0], [3, 0], [0, 2]], "studs": [[0.5, 0.5]]}"#;
        let says = |text: &str| {
            let error = Shapes::shipped().extended(text).unwrap_err();
            error.to_string()
        };
        assert!(Shapes::shipped().extended(&list(good)).is_ok());
        for (text, reason) in [
            (list(good).replace("v1", "v3"), "version v1 or v2"),
            (list(good)[..60].to_owned(), "version v1 or v2"),
            (
                list(&good.replace("height_mm", "height")),
                "version v1 or v2",
            ),
            (list(&good.replace("3.2", "300")), "height_mm"),
            (list(&good.replace("wing", "Wing 7")), "no name"),
            (list(&good.replace("wing", "any")), "no name"),
            (list(&good.replace("\"2x3\"", "\"3x2\"")), "no size"),
            (list(&good.replace("\"2x3\"", "\"2x17\"")), "no size"),
            (list(&good.replace("[3, 0]", "[2.5, 0]")), "does not reach"),
            (list(&good.replace("[3, 0], ", "")), "corners"),
            (
                list(&good.replace("[0, 2]]", "[0, 2], [3, 2], [0, 1]]")),
                "crosses",
            ),
            (list(&good.replace("[0.5, 0.5]", "[2.9, 1.9]")), "a stud"),
            (
                list(&good.replace("[[0.5, 0.5]]", "\"all\"")),
                "to be listed",
            ),
            (
                list(&good.replace("[[0, 0], [3, 0], [0, 2]]", "\"disc\"")),
                "differ",
            ),
            (list(&format!("{good}, {good}")), "already"),
            (list(&good.replace("wing", "plate")), "already"),
        ] {
            assert!(says(&text).contains(reason), "{text}: {}", says(&text));
        }
    }
}
