//! An integer program, and how surely its best answer is known.
//!
//! The work is done by `microlp`, a kept library (simplex, branch and bound). It works
//! in floating point, so what comes out is rounded and checked by whoever asked.

use microlp::{
    ComparisonOp, OptimizationDirection, Problem, SolutionStatus, SolveOptions, SolveOutcome,
};
use std::collections::BTreeMap;

/// A program under construction: variables, then rows. The objective is made small.
#[derive(Clone, Debug, Default)]
pub struct Program {
    variables: Vec<Variable>,
    rows: Vec<Row>,
}

#[derive(Clone, Copy, Debug)]
struct Variable {
    weight: f64,
    least: u64,
    most: u64,
    whole: bool,
}

#[derive(Clone, Debug)]
struct Row {
    terms: Vec<(usize, f64)>,
    is: Is,
    right: f64,
}

/// A variable of a [`Program`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Var(usize);

/// How a row's sum stands to its right side.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Is {
    /// No more than it.
    AtMost,
    /// No less than it.
    AtLeast,
    /// The same.
    Equal,
}

/// An answer.
#[derive(Clone, Debug, PartialEq)]
pub struct Solved {
    /// The objective.
    pub objective: f64,
    /// What no answer can beat; the objective itself when it is proven the best.
    pub bound: f64,
    /// Whether it is proven the best.
    pub proven: bool,
    values: Vec<f64>,
}

impl Solved {
    /// A variable's value.
    pub fn value(&self, var: Var) -> f64 {
        self.values.get(var.0).copied().unwrap_or(0.0)
    }

    /// A variable's value as a number of things; what is not near one is rounded.
    pub fn number(&self, var: Var) -> u64 {
        self.value(var).round().max(0.0) as u64
    }
}

/// Why there is no answer.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ProgramError {
    /// It cannot be.
    #[error(
        "no allotment satisfies the plan, which cannot be; please report the plan and the stock"
    )]
    Infeasible,
    /// No answer within the effort.
    #[error(
        "no allotment was found within {0} steps of search; split the plan, or allow fewer joins"
    )]
    Unfinished(u64),
    /// The library failed.
    #[error("the solver gave up ({0}); split the plan, or allow fewer joins")]
    Failed(String),
}

/// Steps of branch and bound that one solve may take, on a program of up to
/// [`SMALL`] terms. Raising it proves more and waits longer.
const STEPS: f64 = 20_000.0;
/// Terms, variables and rows together. Larger programs get fewer steps, by the cube
/// of how much larger: each takes longer, and they need so many more for a proof that
/// most end without one anyway. Measured: a plan of 300 lines against 5,000 kinds has
/// thousands of terms and takes 1 to 2 s,
/// with joins up to 7 s.
const SMALL: f64 = 2_000.0;
/// The fewest steps.
const FEWEST: f64 = 60.0;

/// How many steps a program of a size gets.
fn steps(size: usize) -> u64 {
    let larger = (size as f64 / SMALL).max(1.0);
    (STEPS / larger.powi(3)).max(FEWEST) as u64
}

impl Program {
    /// A variable of any value from `least` to `most`.
    pub fn real(&mut self, weight: f64, least: u64, most: u64) -> Var {
        self.variable(weight, least, most, false)
    }

    /// A variable of whole values from `least` to `most`.
    pub fn whole(&mut self, weight: f64, least: u64, most: u64) -> Var {
        self.variable(weight, least, most, true)
    }

    fn variable(&mut self, weight: f64, least: u64, most: u64, whole: bool) -> Var {
        self.variables.push(Variable {
            weight,
            least,
            most,
            whole,
        });
        Var(self.variables.len() - 1)
    }

    /// A row. Terms of one variable are added up, as the library wants each once.
    pub fn row(&mut self, terms: impl IntoIterator<Item = (Var, f64)>, is: Is, right: f64) {
        let mut sums: BTreeMap<usize, f64> = BTreeMap::new();
        for (var, factor) in terms {
            *sums.entry(var.0).or_insert(0.0) += factor;
        }
        let terms = sums.into_iter().filter(|term| term.1 != 0.0).collect();
        self.rows.push(Row { terms, is, right });
    }

    /// Solves it. `start` are values that are known to be possible, if there are any.
    /// Parts that have no row in common are solved apart: a search through both
    /// together would try each choice of the one with each of the other.
    ///
    /// # Errors
    /// When there is no answer, or none was found.
    pub fn solve(&self, start: Option<&BTreeMap<Var, f64>>) -> Result<Solved, ProgramError> {
        let mut whole = Solved {
            objective: 0.0,
            bound: 0.0,
            proven: true,
            values: self.variables.iter().map(|var| var.least as f64).collect(),
        };
        let parts = self.parts();
        for variable in self.variables.iter().filter(|var| var.least == var.most) {
            whole.objective += variable.weight * variable.least as f64;
        }
        whole.bound = whole.objective;
        for (variables, rows) in parts {
            let part = self.solve_part(&variables, &rows, start)?;
            whole.objective += part.objective;
            whole.bound += part.bound;
            whole.proven &= part.proven;
            for (&at, value) in variables.iter().zip(part.values) {
                if let Some(slot) = whole.values.get_mut(at) {
                    *slot = value;
                }
            }
        }
        Ok(whole)
    }

    fn is_fixed(&self, at: usize) -> bool {
        self.variables
            .get(at)
            .is_none_or(|var| var.least == var.most)
    }

    /// Variables that are not fixed and their rows, by connected part.
    fn parts(&self) -> Vec<(Vec<usize>, Vec<usize>)> {
        let mut groups = Groups::new(self.variables.len());
        for row in &self.rows {
            let mut free = row.terms.iter().filter(|&&(at, _)| !self.is_fixed(at));
            if let Some(&(first, _)) = free.next() {
                free.for_each(|&(at, _)| groups.join(first, at));
            }
        }
        let mut parts: BTreeMap<usize, (Vec<usize>, Vec<usize>)> = BTreeMap::new();
        for at in (0..self.variables.len()).filter(|&at| !self.is_fixed(at)) {
            parts.entry(groups.of(at)).or_default().0.push(at);
        }
        for (number, row) in self.rows.iter().enumerate() {
            let free = row.terms.iter().find(|&&(at, _)| !self.is_fixed(at));
            if let Some(&(at, _)) = free {
                parts.entry(groups.of(at)).or_default().1.push(number);
            }
        }
        parts.into_values().collect()
    }

    fn solve_part(
        &self,
        variables: &[usize],
        rows: &[usize],
        start: Option<&BTreeMap<Var, f64>>,
    ) -> Result<Solved, ProgramError> {
        let mut problem = Problem::new(OptimizationDirection::Minimize);
        let mut names = BTreeMap::new();
        let mut hint = Vec::new();
        for &at in variables {
            let Some(variable) = self.variables.get(at) else {
                continue;
            };
            let name = if variable.whole {
                let end = |number: u64| i32::try_from(number).unwrap_or(i32::MAX);
                problem.add_integer_var(variable.weight, (end(variable.least), end(variable.most)))
            } else {
                let ends = (variable.least as f64, variable.most as f64);
                problem.add_var(variable.weight, ends)
            };
            names.insert(at, name);
            if let Some(&value) = start.and_then(|start| start.get(&Var(at))) {
                hint.push((name, value));
            }
        }
        let mut size = variables.len() + rows.len();
        for row in rows.iter().filter_map(|&number| self.rows.get(number)) {
            let mut right = row.right;
            let mut terms = Vec::new();
            for &(at, factor) in &row.terms {
                match (names.get(&at), self.variables.get(at)) {
                    (Some(&name), _) => terms.push((name, factor)),
                    (None, Some(fixed)) => right -= factor * fixed.least as f64,
                    (None, None) => {}
                }
            }
            size += terms.len();
            let is = match row.is {
                Is::AtMost => ComparisonOp::Le,
                Is::AtLeast => ComparisonOp::Ge,
                Is::Equal => ComparisonOp::Eq,
            };
            problem.add_constraint(terms, is, right);
        }
        let steps = steps(size);
        let mut options = SolveOptions::default();
        options.node_limit = Some(steps);
        if !hint.is_empty() {
            options.warm_start = Some(hint);
        }
        let outcome = match problem.solve_with(options.clone()) {
            Err(microlp::Error::InternalError(_)) => {
                // What simplifies a program can also ill-condition it.
                options.presolve = false;
                problem.solve_with(options)
            }
            other => other,
        };
        let outcome = outcome.map_err(|error| match error {
            microlp::Error::Infeasible => ProgramError::Infeasible,
            other => ProgramError::Failed(other.to_string()),
        })?;
        let SolveOutcome::Solution(solution) = outcome else {
            return Err(ProgramError::Unfinished(steps));
        };
        let objective = solution.objective();
        let proven = solution.status() == SolutionStatus::Optimal;
        let bound = solution.stats().best_bound.filter(|_| !proven);
        Ok(Solved {
            objective,
            bound: bound.unwrap_or(objective),
            proven,
            values: solution.iter().map(|(_, value)| value).collect(),
        })
    }
}

/// Things in groups that grow together (disjoint sets).
#[derive(Clone, Debug)]
pub struct Groups(Vec<usize>);

impl Groups {
    /// So many things, each alone.
    pub fn new(count: usize) -> Self {
        Self((0..count).collect())
    }

    /// The group of a thing: its smallest member.
    pub fn of(&self, mut thing: usize) -> usize {
        while let Some(&above) = self.0.get(thing) {
            if above == thing {
                break;
            }
            thing = above;
        }
        thing
    }

    /// Makes one group of two.
    pub fn join(&mut self, a: usize, b: usize) {
        let (a, b) = (self.of(a), self.of(b));
        let (low, high) = (a.min(b), a.max(b));
        if let Some(above) = self.0.get_mut(high) {
            *above = low;
        }
    }
}
