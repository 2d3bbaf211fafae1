//! `demo`: the whole loop on the bundled example, into a new folder.
//!
//! Runs the same commands that a person would type, one after another, and says each.

use std::cell::RefCell;
use std::ffi::OsString;
use std::fmt::Write as _;
use std::io;
use std::path::{Path, PathBuf};
use std::rc::Rc;

use clap::Parser as _;
use serde::Serialize;

use super::output::Output;
use super::{Arguments, Error, Status, dispatch};
use crate::files::{NewFolder, Outputs};
use crate::report::page::{Link, Section, index_page};

/// Run the whole loop on the bundled example: a belt-driven camera slider
///
/// Makes the coupons, fits invented readings of two setups, corrects a parts list, makes a pulley and compares
/// three materials for the warm motor mount, with plots and a page that shows it all.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Folder to make
    #[arg(value_name = "DIR", default_value = "shrinkrule-demo")]
    folder: PathBuf,
}

/// Invented: `tests/demo_data.rs` makes them and says how.
const READINGS: &str = include_str!("../../data/demo/slider-readings.csv");
/// Invented.
const PARTS: &str = include_str!("../../data/demo/slider-parts.csv");

/// Invented: `tests/heat_demo_data.rs` makes them and says how.
const HEAT: &str = include_str!("../../data/demo/heat-readings.csv");

const PAGE: &str = "index.html";

/// A command of the demo. A word that begins with `@` is a path from the demo's folder.
struct Step {
    does: &'static str,
    command: &'static str,
}

const STEPS: [Step; 7] = [
    Step {
        does: "coupons to print, a readings sheet and a measuring guide",
        command: "coupons starter --out @coupons --setup petg-0.4",
    },
    Step { does: "check what the caliper said", command: "readings @slider-readings.csv" },
    Step {
        does: "fit how each setup errs",
        command: "fit @slider-readings.csv --out @corrections/ --plots @plots --report @fit.html",
    },
    Step {
        does: "the bore to draw for an 8 mm rod that slides in it",
        command: "size bore 8 --fit slide --with @corrections/petg-0.4.correction.toml",
    },
    Step {
        does: "the slider's printed parts",
        command: "parts @slider-parts.csv --with @corrections/petg-0.4.correction.toml --out @slider-parts-drawn.csv",
    },
    Step {
        does: "the drive pulley",
        command: "pulley --belt T5 --teeth 20 --bore 5 --with @corrections/petg-0.4.correction.toml \
                  --out @pulley-t5-20.stl",
    },
    Step {
        does: "the material for the mount beside the warm motor",
        command: "compare @heat-readings.csv --at 60 --report @heat.html --plots @heat-plots",
    },
];

/// Which step each part of the result and of the page comes from.
const COUPONS: usize = 0;
const CHECKED: usize = 1;
const FITTED: usize = 2;
const SIZED: usize = 3;
const LISTED: usize = 4;
const PULLEY: usize = 5;
const COMPARED: usize = 6;

#[derive(Serialize)]
struct Answer {
    folder: PathBuf,
    page: PathBuf,
    invented_data: bool,
    steps: Vec<Said>,
}

/// A command that was run and what it printed.
#[derive(Serialize)]
struct Said {
    does: &'static str,
    command: String,
    said: String,
}

/// Runs the demo.
pub fn run(args: &Args, output: &mut Output) -> Result<Status, Error> {
    let folder = NewFolder::begin(&args.folder, output.force)?;
    let given = [("slider-readings.csv", READINGS), ("slider-parts.csv", PARTS), ("heat-readings.csv", HEAT)];
    write(folder.path(), &given, output.force)?;
    let mut steps = Vec::with_capacity(STEPS.len());
    for (number, step) in STEPS.iter().enumerate() {
        let command = format!("shrinkrule {}", step.command.replace('@', ""));
        output.progress(&format!("{}/{} {}\n    {command}", number + 1, STEPS.len(), step.does))?;
        steps.push(Said { does: step.does, command, said: said_by(step, folder.path(), output.force)? });
    }
    let page = index_page(TITLE, LEAD, &sections(&steps)).map_err(|error| Error::call(error.to_string()))?;
    write(folder.path(), &[(PAGE, &page)], output.force)?;
    folder.commit()?;
    let answer =
        Answer { folder: args.folder.clone(), page: args.folder.join(PAGE), invented_data: true, steps };
    output.result(&text(&answer), &answer)?;
    Ok(Status::Done)
}

fn write(folder: &Path, files: &[(&str, &str)], overwrite: bool) -> Result<(), Error> {
    let mut outputs = Outputs::new(overwrite);
    for (name, content) in files {
        outputs.write(&folder.join(name), content.as_bytes())?;
    }
    outputs.commit()?;
    Ok(())
}

/// Runs a step with its paths in `folder`, and gives what it printed.
fn said_by(step: &Step, folder: &Path, force: bool) -> Result<String, Error> {
    let words = step.command.split_whitespace().map(|word| match word.strip_prefix('@') {
        // Pushed as text: joining would lose the slash that makes a folder of the last word.
        Some(path) => {
            let mut full = folder.as_os_str().to_owned();
            full.push(std::path::MAIN_SEPARATOR_STR);
            full.push(path);
            full
        }
        None => OsString::from(word),
    });
    let arguments = Arguments::try_parse_from(std::iter::once("shrinkrule".into()).chain(words))
        .expect("the demo's commands are of the program's own form");
    let said = Shared::default();
    let mut captured = Output::to(Box::new(said.clone()), Box::new(io::sink()));
    captured.force = force;
    dispatch(&arguments.command, &mut captured)?;
    Ok(said.text())
}

/// A place that a command prints into while somebody else holds on to it.
#[derive(Clone, Default)]
struct Shared(Rc<RefCell<Vec<u8>>>);

impl Shared {
    fn text(&self) -> String {
        String::from_utf8_lossy(&self.0.borrow()).into_owned()
    }
}

impl io::Write for Shared {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.borrow_mut().extend_from_slice(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

/// What it did and where to look, in a few lines.
fn text(answer: &Answer) -> String {
    let folder = answer.folder.display();
    let mut text = format!("A belt-driven camera slider, on invented readings, in {folder}:\n\n");
    let mut line = |name: &str, what: &str| {
        writeln!(text, "  {name:<37} {what}").expect("writing into a string cannot fail");
    };
    line("coupons/", "what to print, the sheet to fill in, how to measure");
    line("corrections/petg-0.4.correction.toml", "how one setup errs");
    line("fit.html, plots/", "the same in words and pictures");
    line("slider-parts-drawn.csv", "the parts list with sizes to draw");
    line("pulley-t5-20.stl, .svg, .json", "the corrected drive pulley");
    line("heat.html, heat-plots/", "which material keeps its size beside the motor");
    let sized = answer.steps[SIZED].said.lines().next().unwrap_or_default();
    format!("{text}\nAn 8 mm rod that slides: {sized}\nOpen {} first.\n", answer.page.display())
}

const TITLE: &str = "A belt-driven camera slider";
const LEAD: &str = "The whole loop on an invented example: nobody printed or measured these parts. Each part of this \
                    page names the command that made it, to be typed in this folder.";

/// The page's parts, in the order of the work.
fn sections(steps: &[Said]) -> Vec<Section> {
    let section = |step: usize, links: Vec<Link>| Section {
        heading: steps[step].does.to_owned(),
        command: steps[step].command.clone(),
        said: steps[step].said.clone(),
        links,
    };
    let plot = |setup: &str, figure: &str, caption: &str| {
        let path = format!("plots/{setup}-{figure}");
        Link::new(format!("{path}.svg"), format!("{figure}, {setup}"), caption).picture(format!("{path}.png"))
    };
    vec![
        section(
            COUPONS,
            vec![
                Link::new(
                    "coupons/measuring-guide.html",
                    "measuring guide",
                    "every piece, and where the jaws go",
                ),
                Link::new("coupons/readings.csv", "readings sheet", "blank, in the order of measuring"),
                Link::new("coupons/plate-1.3mf", "plate", "all pieces, ready to print"),
            ],
        ),
        section(
            CHECKED,
            vec![Link::new(
                "slider-readings.csv",
                "readings",
                "invented; one reading has two digits swapped, and is found",
            )],
        ),
        section(
            FITTED,
            vec![
                Link::new("fit.html", "report", "the answer in words, and how far to trust it"),
                plot("petg-0.4", "deviation", "bores come out small, pins large, and all shrinks a little"),
                plot("petg-0.4", "residuals", "what is left over is scatter without a pattern"),
                Link::new(
                    "corrections/petg-0.4.correction.toml",
                    "correction",
                    "what sizes are computed from",
                ),
            ],
        ),
        section(SIZED, Vec::new()),
        section(
            LISTED,
            vec![
                Link::new("slider-parts.csv", "parts list", "sizes that are wanted"),
                Link::new(
                    "slider-parts-drawn.csv",
                    "the same with sizes to draw",
                    "and the chance that each fits",
                ),
            ],
        ),
        section(
            PULLEY,
            vec![
                Link::new("pulley-t5-20.svg", "groove", "wanted, drawn, and as it will print")
                    .picture("pulley-t5-20.svg"),
                Link::new("pulley-t5-20.stl", "pulley", "the solid to print"),
                Link::new("pulley-t5-20.json", "dimensions", "and where they come from"),
            ],
        ),
        section(
            COMPARED,
            vec![
                Link::new("heat.html", "report", "the answer first, then what it rests on"),
                Link::new("heat-plots/changes.svg", "changes", "mean changes against the limit of ±0.10 mm")
                    .picture("heat-plots/changes.png"),
                Link::new("heat-readings.csv", "readings before and after heat", "invented"),
            ],
        ),
    ]
}
