//! `pulley`: a corrected timing pulley as a solid, a picture and a table.

use std::path::{Path, PathBuf};

use super::limits::named_fits;
use super::output::Output;
use super::{Error, Status};
use crate::belt::rack::Flank;
use crate::correction::feel::Feels;
use crate::correction::{Correction, first_layer};
use crate::files::{self, Outputs, read_text};
use crate::geometry::solid::Solid;
use crate::kind::Kind;
use crate::parts::own_fits::OwnFits;
use crate::parts::pulley::Design;
use crate::parts::pulley_answer::{CAUTIONS, PulleyAnswer};
use crate::parts::pulley_batch::{self, Made};
use crate::parts::pulley_files::{Targets, WriteError};
use crate::parts::pulley_request::{
    BoreForm, Build, CircleAsked, DowelsAsked, Flanges, Hub, RecessAsked, Request, RingHold, ScrewsAsked,
};
use crate::parts::pulley_solid;
use crate::parts::pulley_teeth::{TEETH_WORD, TeethAsked, names_its_pulley, path_with_teeth};
use crate::parts::pulley_words;
use crate::parts::pulleys_answer::PulleysAnswer;
use crate::parts::seat::inch_caution;
use crate::problem::{Location, Problem};
use crate::report::drawing_files::{Drawing, DrawingError, DrawingFiles};
use crate::units::Mm;

/// Make a timing pulley that comes out right on this setup
///
/// Tips are corrected as pins, grooves as gaps, the bore as a bore, each wall along its own normal; only
/// what the plastic shrinks is undone by scale, so the pitch stays right. Beside the first file lie a .json
/// with every size and where it comes from, and an .svg of the groove. A flange apart or the other half of a
/// split pulley is a file of its own, drive-2.stl; a .3mf holds both.
///
/// Files for a drawing program have true arcs and are in millimetres: .dxf and .svg hold the sections, as
/// wanted and as drawn, .step the drawn body as an exact solid.
///
/// Example: shrinkrule pulley --belt T5 --teeth 20 --bore 5 --bore-form d:4.5 --hub 18x9 --set-screw M3
/// --label 20 --with petg.correction.toml --out drive.stl --out drive.step --drawing drive-drawing.html
///
/// Many at once, all or none: shrinkrule pulley --belt T5 --teeth 12..60 --bore 5 --label '{teeth}' --with
/// petg.correction.toml --out 't5-{teeth}.stl'
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Belt profile: T2.5, T5, T10, T20, MXL, XXL, XL, L, H, XH, XXH
    #[arg(long)]
    belt: String,
    /// Number of teeth; for a batch of pulleys that are alike but for them a range or a list: 12..60, 12,16,20..24.
    /// Names of files then hold {teeth}, a label may
    #[arg(long, value_name = "N|LOW..HIGH|N,N…")]
    teeth: TeethAsked,
    /// Bore that is wanted, in millimetres
    #[arg(long, value_name = "MM", allow_negative_numbers = true)]
    bore: Mm,
    /// Fit of the bore on a shaft of --bore MM: press, snug, slide, free; your own feel tests stand in for these
    /// clearances where the correction has some. The middle of the fit is aimed at
    #[arg(long, value_name = "NAME")]
    fit: Option<String>,
    /// TOML file with fits of your own, in the form of the bundled data/fits/named.toml
    #[arg(long, value_name = "FILE", requires = "fit")]
    fits: Option<PathBuf>,
    /// How many flanges: none, one at the bed, or one on either side
    #[arg(long, value_name = "0|1|2", default_value = "2", value_parser = clap::value_parser!(u8).range(0..=2))]
    flanges: u8,
    /// Width of the belt [default: the narrowest standard width]
    #[arg(long, value_name = "MM")]
    belt_width: Option<Mm>,
    /// Correction file written by `fit`
    #[arg(long = "with", value_name = "FILE", required_unless_present = "without_correction")]
    correction: Option<PathBuf>,
    /// Draw the pulley exactly as wanted, for a machine that errs nowhere
    #[arg(long, conflicts_with = "correction")]
    without_correction: bool,
    /// Allow fewer teeth than the tables list, for slow or hand-driven mechanisms
    #[arg(long)]
    allow_few_teeth: bool,
    /// Sides of the teeth: straight, or involute as the standard's rack makes them
    #[arg(long, value_name = "straight|involute", default_value = "straight")]
    flank: FlankWord,
    /// Form of the bore: round, hex or square (--bore across flats), d:ACROSS, key:WIDTHxDEPTH
    #[arg(long, value_name = "FORM", default_value = "round")]
    bore_form: BoreForm,
    /// A hub on top, or with bed: before it below: DIAMETERxLENGTH; may be given twice
    #[arg(long = "hub", value_name = "[bed:]DxL")]
    hubs: Vec<Hub>,
    /// Set screw through the hub, with its captive nut: M3, 2xM3; a hole alone: 3.2
    #[arg(long, value_name = "THREAD", value_parser = pulley_words::set_screws)]
    set_screw: Option<ScrewsAsked>,
    /// Screw holes along the axis: COUNTxHOLE@CIRCLE, such as 3x3.2@20
    #[arg(long, value_name = "NxD@C")]
    screw_circle: Option<CircleAsked>,
    /// Holes that save plastic: COUNTxHOLE@CIRCLE
    #[arg(long, value_name = "NxD@C")]
    lightening: Option<CircleAsked>,
    /// Bearing seat with shoulder: a designation such as 608, or DIAMETERxDEPTH; bed: for below
    #[arg(long = "seat", value_name = "[bed:]608", value_parser = pulley_words::seat)]
    seats: Vec<RecessAsked>,
    /// Recess for a bought bush or pinion: DIAMETERxDEPTH; bed: for below
    #[arg(long = "recess", value_name = "[bed:]DxDEPTH", value_parser = pulley_words::recess)]
    recesses: Vec<RecessAsked>,
    /// The upper flange as a piece of its own, pressed or screwed on, so that all prints without support
    #[arg(long, value_name = "pressed|screwed")]
    flange_apart: Option<RingHold>,
    /// Split across the axis into halves held by dowels: COUNTxHOLExDEPTH@CIRCLE, such as 3x3x4@20
    #[arg(long, value_name = "NxDxDEPTH@C")]
    split: Option<DowelsAsked>,
    /// Text to engrave on the widest face that looks up
    #[arg(long, value_name = "TEXT")]
    label: Option<String>,
    /// How far the first layer stands out a side, in millimetres [default: as the correction has it]
    #[arg(long, value_name = "MM")]
    first_layer: Option<Mm>,
    /// Want the outside diameter in the middle of what the standard allows, not at its lower limit
    #[arg(long)]
    aim_at_middle: bool,
    /// Drawing to print, .html or .svg: sizes wanted, drawn and expected, and where the caliper goes; the sheet
    /// to measure the part back with, for `verify`, lies beside it
    #[arg(long, value_name = "FILE")]
    drawing: Option<PathBuf>,
    /// File to write, by its ending: .stl, .3mf, .step, .dxf, .svg; may be given several times; needed unless
    /// --drawing or --json is given
    #[arg(long, value_name = "FILE")]
    out: Vec<PathBuf>,
}

/// How the sides of the teeth are made.
#[derive(Clone, Copy, Debug, clap::ValueEnum)]
pub(super) enum FlankWord {
    Straight,
    Involute,
}

impl From<FlankWord> for Flank {
    fn from(word: FlankWord) -> Self {
        match word {
            FlankWord::Straight => Self::Straight,
            FlankWord::Involute => Self::Involute,
        }
    }
}

impl Args {
    fn build(&self, bore: BoreForm, first_layer_mm: Option<f64>) -> Build {
        Build {
            flank: self.flank.into(),
            bore,
            hubs: self.hubs.clone(),
            ring: self.flange_apart,
            set_screws: self.set_screw,
            screw_circle: self.screw_circle,
            lightening: self.lightening,
            recesses: self.seats.iter().chain(&self.recesses).copied().collect(),
            label: self.label.clone(),
            split: self.split,
            aim_at_middle: self.aim_at_middle,
            first_layer_mm,
        }
    }
}

/// Runs the command.
pub fn run(args: &Args, output: &mut Output) -> Result<Status, Error> {
    let batch = args.files()?;
    let is_nowhere = batch.iter().all(|files| files.targets.is_empty() && files.drawing.is_none());
    if is_nowhere && !output.json {
        return Err(Error::call(
            "--out FILE.stl, .3mf, .step, .dxf or .svg is needed unless --drawing or --json is given",
        ));
    }
    let mut outputs = Outputs::new(output.force).keeping(args.correction.iter().chain(&args.fits));
    batch.iter().flat_map(FilesOfOne::paths).try_for_each(|path| outputs.check_file(path))?;
    let correction = args.correction.as_deref().map(Correction::read).transpose()?;
    let measured = match &args.correction {
        Some(path) => first_layer::in_file(&read_text(path)?),
        None => None,
    };
    let Fitted { bore, form, notes } = fitted(args, correction.as_ref())?;
    let request = Request {
        belt: args.belt.clone(),
        teeth: 0,
        bore,
        flanges: Flanges::from_count(args.flanges).unwrap_or(Flanges::Two),
        belt_width: args.belt_width,
        allow_few_teeth: args.allow_few_teeth,
        build: args.build(form, args.first_layer.map(Mm::get).or(measured)),
    };
    let mut made = pulley_batch::make_all(&request.with_each(&args.teeth), correction.as_ref());
    for (design, _) in made.iter_mut().flatten() {
        design.warnings.extend(notes.iter().cloned());
        design.warnings.extend(inch_caution(args.bore));
    }
    let made = all_made(made, &args.teeth)?;
    let named = args.correction.as_deref().zip(correction.as_ref());
    let mut answers: Vec<PulleyAnswer> =
        made.iter().map(|(design, solids)| PulleyAnswer::new(design, solids, named)).collect();
    if !is_nowhere {
        for (((design, solids), answer), files) in made.iter().zip(&mut answers).zip(&batch) {
            files.write((design, solids), named, answer, &mut outputs)?;
        }
    }
    let holds = made.iter().all(|(design, _)| design.holds());
    let written: Vec<String> = outputs.commit()?.iter().map(|path| path.display().to_string()).collect();
    match &mut answers[..] {
        [answer] if !args.teeth.is_batch() => {
            answer.files.clone_from(&written);
            warn(answer.warnings(), output)?;
            output.result(&answer.to_text(), answer)?;
        }
        _ => {
            let answer = PulleysAnswer { pulleys: answers, all_hold: holds, files: written.clone() };
            warn(&answer.warnings(), output)?;
            output.result(&answer.to_text(), &answer)?;
        }
    }
    for file in &written {
        output.progress(&format!("wrote {file}"))?;
    }
    Ok(if holds { Status::Done } else { Status::No })
}

fn warn(warnings: &[String], output: &mut Output) -> Result<(), Error> {
    let problem = |warning: &String| Problem::warning(Location::default(), warning.clone());
    Ok(output.warnings(&warnings.iter().map(problem).collect::<Vec<_>>())?)
}

/// The files of one pulley of a batch.
struct FilesOfOne {
    targets: Targets,
    drawing: Option<DrawingFiles>,
}

impl FilesOfOne {
    fn paths(&self) -> impl Iterator<Item = &Path> {
        self.targets.paths().chain(self.drawing.iter().flat_map(DrawingFiles::paths))
    }

    /// Stages all of them.
    fn write(
        &self,
        (design, solids): (&Design, &[Solid]),
        named: Option<(&Path, &Correction)>,
        answer: &mut PulleyAnswer,
        outputs: &mut Outputs,
    ) -> Result<(), Error> {
        if let Some(drawing) = &self.drawing {
            let page = Drawing {
                title: &pulley_solid::name(design),
                pieces: &design.drawn_pieces,
                dimensions: &design.dimensions,
                correction: named,
                cautions: &CAUTIONS,
            };
            page.write(drawing, outputs).map_err(|error| match error {
                DrawingError::File(error) => Error::File(error),
                DrawingError::Page(error) => Error::call(error.to_string()),
            })?;
        }
        self.targets.write(design, solids, answer, outputs).map_err(not_written)
    }
}

impl Args {
    /// The files of each pulley; of a batch every name must say which it is of.
    fn files(&self) -> Result<Vec<FilesOfOne>, Error> {
        let nameless = self.out.iter().chain(&self.drawing).find(|path| !names_its_pulley(path));
        if let Some(path) = nameless.filter(|_| self.teeth.is_batch()) {
            let message =
                format!("{}: {} pulleys would have this name", path.display(), self.teeth.counts().len());
            let help = format!("put {TEETH_WORD} into it, as in t5-{TEETH_WORD}.stl");
            return Err(Error::problem(Problem::error(Location::default(), message).help(help)));
        }
        let pieces = if self.split.is_some() || self.flange_apart.is_some() { 2 } else { 1 };
        let of = |teeth: &u32| {
            let out: Vec<PathBuf> = self.out.iter().map(|path| path_with_teeth(path, *teeth)).collect();
            let targets = Targets::new(&out, pieces).map_err(|error| Error::call(error.to_string()))?;
            let drawing = self.drawing.as_ref().map(|path| path_with_teeth(path, *teeth));
            let drawing = drawing.map(|path| DrawingFiles::new(&path, pieces)).transpose();
            let drawing = drawing.map_err(|error| Error::call(error.to_string()))?;
            Ok(FilesOfOne { targets, drawing })
        };
        self.teeth.counts().iter().map(of).collect()
    }
}

/// All pulleys, or every reason why one cannot be made.
fn all_made(made: Vec<Made>, asked: &TeethAsked) -> Result<Vec<(Design, Vec<Solid>)>, Error> {
    let mut problems = Vec::new();
    let mut all = Vec::new();
    for (made, teeth) in made.into_iter().zip(asked.counts()) {
        match made {
            Ok(made) => all.push(made),
            Err(error) => {
                let message = match asked.is_batch() {
                    true => format!("{teeth} teeth: {error}"),
                    false => error.to_string(),
                };
                problems.push(Problem::error(Location::default(), message).help_if(error.help()));
            }
        }
    }
    if problems.is_empty() {
        return Ok(all);
    }
    let count = problems.len();
    let summary = match asked.is_batch() {
        true => format!("{count} of {} pulleys cannot be made; nothing was written", asked.counts().len()),
        false => String::new(),
    };
    Err(Error::Input { problems, summary })
}

/// The bore that is aimed at, and what is to be said of its fit.
struct Fitted {
    bore: Mm,
    form: BoreForm,
    notes: Vec<String>,
}

/// The bore with its fit; the same fit holds across a flat, as in [`crate::parts::seat`].
fn fitted(args: &Args, correction: Option<&Correction>) -> Result<Fitted, Error> {
    let (bore, form) = (args.bore, args.bore_form);
    let Some(name) = &args.fit else { return Ok(Fitted { bore, form, notes: Vec::new() }) };
    let named = named_fits(args.fits.as_ref())?;
    let feels = match &args.correction {
        Some(path) if args.fits.is_none() => Feels::from_toml(&files::read_text(path)?, path)?,
        _ => None,
    };
    let fits = match correction {
        Some(correction) => OwnFits::new(&named, feels.as_ref(), correction),
        None => OwnFits::named(&named),
    };
    let refused = |message: String, help: Option<String>| {
        Error::problem(Problem::error(Location::default(), message).help_if(help))
    };
    let chosen = fits.get(Kind::Bore, name).map_err(|error| refused(error.to_string(), error.help()))?;
    let aim = chosen.aim(Kind::Bore, args.bore).map_err(|error| refused(error.to_string(), error.help()))?;
    let mut notes = chosen.notes(&aim);
    let form = match form {
        BoreForm::Flat { across_mm } => {
            let size = Mm::new(across_mm).unwrap_or(args.bore);
            let across =
                chosen.aim(Kind::Gap, size).map_err(|error| refused(error.to_string(), error.help()))?;
            notes.extend(across.words().map(|words| format!("across the flat: {words}")));
            BoreForm::Flat { across_mm: across.target.get() }
        }
        other => other,
    };
    Ok(Fitted { bore: aim.target, form, notes })
}

fn not_written(error: WriteError) -> Error {
    match error {
        WriteError::File(error) => Error::File(error),
        WriteError::NotExact(_) => Error::call(error.to_string()),
    }
}
