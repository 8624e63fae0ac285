//! An integer program, and how surely its best answer is known.
//!
//! The work is done by `microlp`, a kept library (simplex, branch and bound). It works
//! in floating point, so what comes out is rounded and checked by whoever asked.

use microlp::{
    ComparisonOp, OptimizationDirection, Problem, SolutionStatus, SolveOptions, SolveOutcome,
    Variable,
};

/// A program under construction: variables, then rows.
pub struct Program {
    problem: Problem,
    rows: usize,
    variables: usize,
    terms: usize,
}

/// A variable of a [`Program`].
pub type Var = Variable;

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
        self.values.get(var.idx()).copied().unwrap_or(0.0)
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
    #[error("no allotment satisfies the plan, which cannot be; please report the plan and the stock")]
    Infeasible,
    /// No answer within the effort.
    #[error("no allotment was found within {0} steps of search; split the plan, or allow fewer joins")]
    Unfinished(u64),
    /// The library failed.
    #[error("the solver gave up ({0}); split the plan, or allow fewer joins")]
    Failed(String),
}

/// Steps of branch and bound, times the size of the program, that one solve may take.
/// A step on a small program takes well under a millisecond; larger ones take longer
/// in proportion. Raising it proves more and waits longer.
const EFFORT: u64 = 40_000_000;
/// The fewest and the most steps.
const STEPS: (u64, u64) = (60, 20_000);

impl Program {
    /// With the objective to be made small.
    pub fn smallest() -> Self {
        Self::new(OptimizationDirection::Minimize)
    }

    /// With the objective to be made large.
    pub fn largest() -> Self {
        Self::new(OptimizationDirection::Maximize)
    }

    fn new(direction: OptimizationDirection) -> Self {
        Self {
            problem: Problem::new(direction),
            rows: 0,
            variables: 0,
            terms: 0,
        }
    }

    /// A variable of any value from `least` to `most`.
    pub fn real(&mut self, weight: f64, least: u64, most: u64) -> Var {
        self.variables += 1;
        self.problem.add_var(weight, (least as f64, most as f64))
    }

    /// A variable of whole values from `least` to `most`.
    pub fn whole(&mut self, weight: f64, least: u64, most: u64) -> Var {
        self.variables += 1;
        let end = |number: u64| i32::try_from(number).unwrap_or(i32::MAX);
        self.problem
            .add_integer_var(weight, (end(least), end(most)))
    }

    /// A row. Terms of one variable are added up, as the library wants each once.
    pub fn row(&mut self, terms: impl IntoIterator<Item = (Var, f64)>, is: Is, right: f64) {
        let mut sums = std::collections::BTreeMap::new();
        for (var, factor) in terms {
            let sum = sums.entry(var.idx()).or_insert((var, 0.0));
            sum.1 += factor;
        }
        let terms: Vec<(Var, f64)> = sums.into_values().filter(|term| term.1 != 0.0).collect();
        self.rows += 1;
        self.terms += terms.len();
        let is = match is {
            Is::AtMost => ComparisonOp::Le,
            Is::AtLeast => ComparisonOp::Ge,
            Is::Equal => ComparisonOp::Eq,
        };
        self.problem.add_constraint(terms, is, right);
    }

    /// Solves it. `start` are values known to be possible, if any are.
    ///
    /// # Errors
    /// When there is no answer, or none was found.
    pub fn solve(&self, start: Option<Vec<(Var, f64)>>) -> Result<Solved, ProgramError> {
        let size = (self.terms + self.variables + self.rows).max(1) as u64;
        let steps = (EFFORT / size).clamp(STEPS.0, STEPS.1);
        let mut options = SolveOptions::default();
        options.node_limit = Some(steps);
        options.warm_start = start;
        let outcome = match self.problem.solve_with(options.clone()) {
            Err(microlp::Error::InternalError(_)) => {
                // What simplifies a program can also ill-condition it.
                options.presolve = false;
                self.problem.solve_with(options)
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
        Ok(Solved {
            objective,
            bound: if proven {
                objective
            } else {
                solution.stats().best_bound.unwrap_or(objective)
            },
            proven,
            values: solution.iter().map(|(_, value)| value).collect(),
        })
    }
}
