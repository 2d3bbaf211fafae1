//! What `verify --history` says: the JSON document, and the table for the bench.

use std::fmt::Write as _;

use serde::Serialize;

use crate::correction::verify::Verdict;
use crate::correction::verify::answer::probability;

use super::chart::{Chart, ChartPoint, Charted, Drift};

/// The history of each setup.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct HistoryAnswer {
    /// One a setup, in order of first appearance.
    pub setups: Vec<SetupHistory>,
    /// The change that matters, mm.
    pub matters_mm: f64,
}

/// The history of one setup.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SetupHistory {
    setup: String,
    drifted: bool,
    /// The first date at which the chart says that it drifted.
    first_drift: Option<DriftAnswer>,
    verifications: Vec<PointAnswer>,
}

#[derive(Clone, Debug, PartialEq, Serialize)]
struct DriftAnswer {
    date: String,
    what: &'static str,
    by: &'static str,
    value_mm: f64,
    limit_mm: f64,
}

#[derive(Clone, Debug, PartialEq, Serialize)]
struct PointAnswer {
    date: String,
    new_correction: bool,
    walls: Option<ChartedAnswer>,
    all_sizes: ChartedAnswer,
    p_value: f64,
    verdict: Verdict,
}

#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
struct ChartedAnswer {
    shift_mm: f64,
    limit_mm: f64,
    ewma_mm: f64,
    ewma_limit_mm: f64,
}

impl From<&Charted> for ChartedAnswer {
    fn from(charted: &Charted) -> Self {
        Self {
            shift_mm: charted.shift_mm,
            limit_mm: charted.limit_mm,
            ewma_mm: charted.average_mm,
            ewma_limit_mm: charted.average_limit_mm,
        }
    }
}

fn by(drift: &Drift) -> &'static str {
    if drift.by_average { "ewma" } else { "shewhart" }
}

impl HistoryAnswer {
    /// Of these charts.
    pub fn of(charts: &[Chart], matters_mm: f64) -> Self {
        let drift = |drift: &Drift| DriftAnswer {
            date: drift.date.to_string(),
            what: drift.what,
            by: by(drift),
            value_mm: drift.value_mm,
            limit_mm: drift.limit_mm,
        };
        let point = |point: &ChartPoint| PointAnswer {
            date: point.date.to_string(),
            new_correction: point.new_correction,
            walls: point.walls.as_ref().map(ChartedAnswer::from),
            all_sizes: (&point.all_sizes).into(),
            p_value: point.p_value,
            verdict: point.verdict,
        };
        let setup = |chart: &Chart| {
            let first_drift = chart.first_drift().as_ref().map(drift);
            SetupHistory {
                setup: chart.setup.clone(),
                drifted: first_drift.is_some(),
                first_drift,
                verifications: chart.points.iter().map(point).collect(),
            }
        };
        Self { setups: charts.iter().map(setup).collect(), matters_mm }
    }
}

/// The result as a machinist reads it.
pub fn text(charts: &[Chart]) -> String {
    let mut out = String::new();
    for (at, chart) in charts.iter().enumerate() {
        if at > 0 {
            out.push('\n');
        }
        // Writing to a String cannot fail.
        let _ = write(&mut out, chart);
    }
    if charts.is_empty() {
        out.push_str("the history has no verification yet\n");
    }
    out
}

fn write(out: &mut String, chart: &Chart) -> std::fmt::Result {
    let count = chart.points.len();
    let s = if count == 1 { "" } else { "s" };
    match chart.first_drift() {
        Some(drift) => writeln!(
            out,
            "{}: drifted, first on {}: {} {} {:+.3} mm, beyond ± {:.3}\n",
            chart.setup,
            drift.date,
            if drift.by_average { "the average of" } else { "the shift of" },
            drift.what,
            drift.value_mm,
            drift.limit_mm.max(chart.matters_mm)
        )?,
        None => writeln!(out, "{}: no drift in {count} verification{s}\n", chart.setup)?,
    }
    writeln!(out, "              walls (outside +, inside −), mm         all sizes, mm")?;
    writeln!(
        out,
        "  date           shift   limit  average   limit      shift   limit  average   limit       p  verdict"
    )?;
    for point in &chart.points {
        let walls = point.walls.as_ref().map_or_else(|| format!("{:>32}", "not measured"), columns);
        let all = columns(&point.all_sizes);
        let p = probability(point.p_value);
        let p = p.trim_start_matches("p ").trim_start_matches("= ");
        write!(out, "  {}  {walls}   {all}  {p:>7}  {}", point.date, point.verdict.name())?;
        writeln!(out, "{}", if point.new_correction { "; new correction" } else { "" })?;
    }
    writeln!(
        out,
        "\n  limits: 3 standard deviations as predicted, of a shift alone and of the moving average (EWMA, lambda\n  0.2); drifted asks for one beyond its limit and beyond {} mm (--matters)",
        chart.matters_mm
    )
}

fn columns(charted: &Charted) -> String {
    format!(
        "{:>+8.3}  ±{:>5.3}  {:>+7.3}  ±{:>5.3}",
        charted.shift_mm, charted.limit_mm, charted.average_mm, charted.average_limit_mm
    )
}
