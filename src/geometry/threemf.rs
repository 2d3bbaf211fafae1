//! 3MF: a zip archive of three parts, with units, names and where each solid comes from.
//!
//! Coordinates are written as the shortest decimal that a 32-bit float reads back as the same number;
//! with corners on the grid nothing is lost. No clock is asked: the same solids give the same bytes.
//!
//! Source: 3MF Consortium, 3D Manufacturing Format, Core Specification 1.3, sections 2 to 4.

use std::fmt::Write as _;
use std::io::{self, Seek, Write};

use zip::write::{SimpleFileOptions, ZipWriter};
use zip::{CompressionMethod, DateTime};

use super::solid::Solid;

/// Deflate effort, 1 to 9: 6 took three times as long in the benchmark of a million triangles.
const EFFORT: i64 = 1;

/// Text is handed to the archive when this much has gathered.
const CHUNK_BYTES: usize = 1 << 16;

const CONTENT_TYPES: &str = r#"<?xml version="1.0" encoding="UTF-8"?>
<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">
 <Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>
 <Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/>
</Types>
"#;

const RELATIONSHIPS: &str = r#"<?xml version="1.0" encoding="UTF-8"?>
<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">
 <Relationship Target="/3D/3dmodel.model" Id="rel0" Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/>
</Relationships>
"#;

const MODEL_START: &str = r#"<?xml version="1.0" encoding="UTF-8"?>
<model unit="millimeter" xml:lang="en-US" xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02" xmlns:shrinkrule="urn:shrinkrule:metadata">
"#;

/// What goes into a 3MF file.
#[derive(Clone, Debug)]
pub struct Model<'a> {
    /// The `Title`.
    pub title: &'a str,
    /// The `Description`.
    pub description: &'a str,
    /// Further pairs under the program's own namespace: a plain name (letters, digits, `-`, `_`; others
    /// become `_`) and a value.
    pub metadata: &'a [(&'a str, String)],
    /// One object each, under the solid's name, where it lies.
    pub solids: &'a [&'a Solid],
}

impl Model<'_> {
    /// Writes the archive.
    ///
    /// # Errors
    /// When the writer refuses.
    pub fn write(&self, to: impl Write + Seek) -> io::Result<()> {
        let options = SimpleFileOptions::default()
            .compression_method(CompressionMethod::Deflated)
            .compression_level(Some(EFFORT))
            .last_modified_time(DateTime::default());
        let mut archive = ZipWriter::new(to);
        archive.start_file("[Content_Types].xml", options)?;
        archive.write_all(CONTENT_TYPES.as_bytes())?;
        archive.start_file("_rels/.rels", options)?;
        archive.write_all(RELATIONSHIPS.as_bytes())?;
        archive.start_file("3D/3dmodel.model", options)?;
        let mut text = Text { to: &mut archive, gathered: String::with_capacity(CHUNK_BYTES + 256) };
        self.model(&mut text)?;
        archive.finish()?;
        Ok(())
    }

    /// The archive in memory.
    ///
    /// # Errors
    /// As [`Self::write`].
    pub fn to_bytes(&self) -> io::Result<Vec<u8>> {
        let mut bytes = io::Cursor::new(Vec::new());
        self.write(&mut bytes)?;
        Ok(bytes.into_inner())
    }

    fn model(&self, text: &mut Text<impl Write>) -> io::Result<()> {
        text.add(MODEL_START)?;
        for (name, value) in [("Title", self.title), ("Description", self.description)] {
            text.add(&format!(" <metadata name=\"{name}\">{}</metadata>\n", escaped(value)))?;
        }
        for (name, value) in self.metadata {
            let is_plain = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_';
            let name: String = name.chars().map(|c| if is_plain(c) { c } else { '_' }).collect();
            text.add(&format!(" <metadata name=\"shrinkrule:{name}\">{}</metadata>\n", escaped(value)))?;
        }
        text.add(" <resources>\n")?;
        for (id, solid) in (1..).zip(self.solids) {
            object(id, solid, text)?;
        }
        text.add(" </resources>\n <build>\n")?;
        for id in 1..=self.solids.len() {
            text.add(&format!("  <item objectid=\"{id}\"/>\n"))?;
        }
        text.add(" </build>\n</model>\n")?;
        text.flush()
    }
}

/// Text on its way into the archive, gathered so that it is not handed over a number at a time.
struct Text<'a, W: Write> {
    to: &'a mut W,
    gathered: String,
}

impl<W: Write> Text<'_, W> {
    fn add(&mut self, text: &str) -> io::Result<()> {
        self.gathered.push_str(text);
        if self.gathered.len() >= CHUNK_BYTES { self.flush() } else { Ok(()) }
    }

    fn flush(&mut self) -> io::Result<()> {
        self.to.write_all(self.gathered.as_bytes())?;
        self.gathered.clear();
        Ok(())
    }
}

fn object(id: usize, solid: &Solid, text: &mut Text<impl Write>) -> io::Result<()> {
    let name = escaped(solid.name());
    text.add(&format!("  <object id=\"{id}\" type=\"model\" name=\"{name}\"><mesh>\n   <vertices>\n"))?;
    for [x, y, z] in &solid.mesh().vertices {
        let [x, y, z] = [x, y, z].map(|mm| *mm as f32);
        // Writing to a string cannot fail.
        let _ = writeln!(text.gathered, "<vertex x=\"{x}\" y=\"{y}\" z=\"{z}\"/>");
        text.add("")?;
    }
    text.add("   </vertices>\n   <triangles>\n")?;
    for [a, b, c] in &solid.mesh().triangles {
        let _ = writeln!(text.gathered, "<triangle v1=\"{a}\" v2=\"{b}\" v3=\"{c}\"/>");
        text.add("")?;
    }
    text.add("   </triangles>\n  </mesh></object>\n")
}

/// Text as it may stand in XML; control characters, which may not, become spaces.
pub fn escaped(text: &str) -> String {
    let mut escaped = String::with_capacity(text.len());
    for character in text.chars() {
        match character {
            '&' => escaped.push_str("&amp;"),
            '<' => escaped.push_str("&lt;"),
            '>' => escaped.push_str("&gt;"),
            '"' => escaped.push_str("&quot;"),
            '\n' | '\t' => escaped.push(character),
            '\u{fffe}' | '\u{ffff}' => escaped.push(' '),
            _ if character.is_control() => escaped.push(' '),
            _ => escaped.push(character),
        }
    }
    escaped
}

#[cfg(test)]
mod tests {
    use std::io::Read;

    use super::*;
    use crate::geometry::mesh::Mesh;
    use crate::geometry::outline::Outline;
    use crate::geometry::solid::{Solid, Stack};

    fn part(name: &str) -> Solid {
        let ring = Outline::circle([20.1, -7.3], 22.0).with_hole(&Outline::circle([20.1, -7.3], 8.05));
        Stack::new(name).slab(0.0, 6.03, &ring).solid().unwrap()
    }

    fn entry(archive: &[u8], name: &str) -> String {
        let mut archive = zip::ZipArchive::new(io::Cursor::new(archive)).unwrap();
        let mut text = String::new();
        archive.by_name(name).unwrap().read_to_string(&mut text).unwrap();
        text
    }

    fn attributes<'a>(text: &'a str, element: &str) -> Vec<Vec<&'a str>> {
        let start = format!("<{element} ");
        text.lines()
            .filter(|line| line.trim_start().starts_with(&start))
            .map(|line| line.split('"').skip(1).step_by(2).collect())
            .collect()
    }

    #[test]
    fn every_object_reads_back_as_the_solid_that_it_was() {
        let solids = [part("ring <8 & \"9\">"), part("second").moved([30.0, 0.0, 0.0]).unwrap()];
        let solids: Vec<&Solid> = solids.iter().collect();
        let model = Model {
            title: "rings",
            description: "two of them",
            metadata: &[("setup", "PETG & co".to_owned()), ("odd name", "x".to_owned())],
            solids: &solids,
        };
        let bytes = model.to_bytes().unwrap();
        let text = entry(&bytes, "3D/3dmodel.model");
        for wanted in [
            "<model unit=\"millimeter\"",
            "<metadata name=\"Title\">rings</metadata>",
            "<metadata name=\"Description\">two of them</metadata>",
            "<metadata name=\"shrinkrule:setup\">PETG &amp; co</metadata>",
            "<metadata name=\"shrinkrule:odd_name\">x</metadata>",
            "name=\"ring &lt;8 &amp; &quot;9&quot;&gt;\"",
            "<item objectid=\"2\"/>",
        ] {
            assert!(text.contains(wanted), "{wanted} is missing");
        }
        let objects: Vec<&str> = text.split("<object ").skip(1).collect();
        assert_eq!(objects.len(), 2);
        for (object, solid) in objects.iter().zip(solids) {
            let number = |value: &str| f64::from(value.parse::<f32>().unwrap());
            let mesh = Mesh {
                vertices: attributes(object, "vertex")
                    .iter()
                    .map(|v| [0, 1, 2].map(|i| number(v[i])))
                    .collect(),
                triangles: attributes(object, "triangle")
                    .iter()
                    .map(|t| [0, 1, 2].map(|i| t[i].parse().unwrap()))
                    .collect(),
            };
            assert_eq!(&mesh, solid.mesh());
            assert_eq!(Solid::from_mesh("back", mesh, 1).unwrap().volume_mm3(), solid.volume_mm3());
        }
        assert!(entry(&bytes, "[Content_Types].xml").contains("3dmanufacturing-3dmodel+xml"));
        assert!(entry(&bytes, "_rels/.rels").contains("Target=\"/3D/3dmodel.model\""));
    }

    #[test]
    fn the_same_solids_give_the_same_bytes() {
        let solid = part("ring");
        let model = Model { title: "ring", description: "", metadata: &[], solids: &[&solid] };
        assert_eq!(model.to_bytes().unwrap(), model.to_bytes().unwrap());
    }
}
