//! Many pulleys at once, on as many threads as the machine has.

use std::num::NonZero;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;

use crate::correction::Correction;
use crate::geometry::check::NotASolid;
use crate::geometry::solid::Solid;

use super::pulley::Design;
use super::pulley_request::{Build, CannotMake, Request};
use super::pulley_solid;
use super::pulley_teeth::{TeethAsked, with_teeth};

/// Why one pulley of many was not made.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NotMade {
    /// It cannot be.
    #[error(transparent)]
    Design(#[from] CannotMake),
    /// Its body is no solid.
    #[error(transparent)]
    Solid(#[from] NotASolid),
}

impl NotMade {
    /// What the person can do about it.
    pub fn help(&self) -> Option<String> {
        match self {
            Self::Design(error) => error.help(),
            Self::Solid(_) => None,
        }
    }
}

impl Request {
    /// The same request for each of these tooth counts, which its label may name.
    pub fn with_each(&self, asked: &TeethAsked) -> Vec<Self> {
        let of = |teeth: &u32| {
            let label = self.build.label.as_ref().map(|label| with_teeth(label, *teeth));
            Self { teeth: *teeth, build: Build { label, ..self.build.clone() }, ..self.clone() }
        };
        asked.counts().iter().map(of).collect()
    }
}

/// A pulley with its bodies, or why not.
pub type Made = Result<(Design, Vec<Solid>), NotMade>;

/// Makes a pulley for each request; answers come in the order of the requests, whatever the threads do.
pub fn make_all(requests: &[Request], correction: Option<&Correction>) -> Vec<Made> {
    let make = |request: &Request| -> Made {
        let design = Design::new(request, correction)?;
        let solids = pulley_solid::solids(&design)?;
        Ok((design, solids))
    };
    let threads = thread::available_parallelism().map_or(1, NonZero::get).min(requests.len().max(1));
    let next = AtomicUsize::new(0);
    // Each thread takes the next request that nobody has; what it makes carries its number.
    let work = || {
        let mut made = Vec::new();
        loop {
            let number = next.fetch_add(1, Ordering::Relaxed);
            let Some(request) = requests.get(number) else { return made };
            made.push((number, make(request)));
        }
    };
    let mut all: Vec<(usize, Made)> = thread::scope(|scope| {
        let others: Vec<_> = (1..threads).map(|_| scope.spawn(work)).collect();
        let mut all = work();
        for other in others {
            match other.join() {
                Ok(made) => all.extend(made),
                // A fault of this program: it is passed on, not hidden.
                Err(panic) => std::panic::resume_unwind(panic),
            }
        }
        all
    });
    all.sort_by_key(|(number, _)| *number);
    all.into_iter().map(|(_, made)| made).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::parts::pulley_request::Flanges;
    use crate::units::Mm;

    #[test]
    fn answers_come_in_the_order_of_the_requests_and_are_those_of_each_alone() {
        let request = |teeth| Request {
            belt: "T5".to_owned(),
            teeth,
            bore: Mm::new(5.0).unwrap(),
            flanges: Flanges::One,
            belt_width: None,
            allow_few_teeth: false,
            build: Build::default(),
        };
        // Nine teeth are too few.
        let teeth = [30, 12, 9, 21, 14];
        let made = make_all(&teeth.map(request), None);
        assert_eq!(made.len(), 5);
        for (made, teeth) in made.iter().zip(teeth) {
            match made {
                Ok((design, solids)) => {
                    assert_eq!(design.pulley.teeth(), teeth);
                    assert_eq!(
                        solids,
                        &pulley_solid::solids(&Design::new(&request(teeth), None).unwrap()).unwrap()
                    );
                }
                Err(error) => assert!(teeth == 9 && matches!(error, NotMade::Design(_)), "{error}"),
            }
        }
        assert!(make_all(&[], None).is_empty());
    }
}
