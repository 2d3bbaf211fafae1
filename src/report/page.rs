//! The shell that every page shares: one self-contained HTML file that prints well, without scripts.
//!
//! A page with a template of its own extends `page.html` and gives it `title` and `lead`; [`page`] is for
//! a body that is already HTML.

use askama::Template;

use super::ReportError;

#[derive(Template)]
#[template(path = "body.html", config = "src/report/askama.toml")]
struct Shell<'a> {
    title: &'a str,
    lead: &'a str,
    body: &'a str,
}

/// A page around `body`, which is HTML and is taken as it is; title and lead are text and are escaped.
pub fn page(title: &str, lead: &str, body: &str) -> Result<String, ReportError> {
    Ok(Shell { title, lead, body }.render()?)
}

/// A part of an index page.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Section {
    /// What it is about.
    pub heading: String,
    /// The command that made it; may be empty.
    pub command: String,
    /// What that command printed; may be empty.
    pub said: String,
    /// The files.
    pub links: Vec<Link>,
}

/// A file on an index page.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Link {
    /// Its path from the page's folder, with `/` between folders.
    pub file: String,
    /// What to call it.
    pub label: String,
    /// What to look at in it; may be empty.
    pub caption: String,
    /// A picture of it, as a path from the page's folder.
    pub picture: Option<String>,
}

impl Link {
    /// A file without a picture.
    pub fn new(file: impl Into<String>, label: impl Into<String>, caption: impl Into<String>) -> Self {
        Self { file: file.into(), label: label.into(), caption: caption.into(), picture: None }
    }

    /// The same with a picture.
    #[must_use]
    pub fn picture(mut self, file: impl Into<String>) -> Self {
        self.picture = Some(file.into());
        self
    }
}

#[derive(Template)]
#[template(path = "index.html", config = "src/report/askama.toml")]
struct Index<'a> {
    title: &'a str,
    lead: &'a str,
    sections: &'a [Section],
}

/// A page that lists files with pictures and what to look at. Everything given is text.
pub fn index_page(title: &str, lead: &str, sections: &[Section]) -> Result<String, ReportError> {
    Ok(Index { title, lead, sections }.render()?)
}

/// A path from the page's folder as a URL: whatever is not plainly part of a path is percent-encoded,
/// and `./` goes before it, so that a name with a colon is no scheme.
fn relative_url(path: &str) -> String {
    let mut url = "./".to_owned();
    for byte in path.bytes() {
        if byte.is_ascii_alphanumeric() || b"-_.~/".contains(&byte) {
            url.push(char::from(byte));
        } else {
            url.push_str(&format!("%{byte:02X}"));
        }
    }
    url
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_index_lists_files_with_pictures_and_escapes_what_it_is_given() {
        let sections = [Section {
            heading: "Plots & co".to_owned(),
            command: "fit <PETG>".to_owned(),
            said: "one & only".to_owned(),
            links: vec![
                Link::new("plots/a b.svg", "deviation", "look at the bores").picture("plots/a b.png"),
                Link::new("javascript:alert(1)", "x\"y", ""),
            ],
        }];
        let html = index_page("The slider's files", "all of it", &sections).unwrap();
        assert!(html.contains("<h2 class=\"step\">Plots &#38; co</h2>"), "{html}");
        assert!(html.contains("<pre><code>fit &#60;PETG&#62;</code></pre>"), "{html}");
        assert!(html.contains("<pre><code>one &#38; only</code></pre>"), "{html}");
        assert!(html.contains("<a href=\"./plots/a%20b.svg\"><img src=\"./plots/a%20b.png\" alt=\"\""));
        assert!(html.contains("href=\"./javascript%3Aalert%281%29\">x&#34;y</a>"), "{html}");
        assert!(html.contains("<title>The slider&#39;s files</title>"));
    }

    #[test]
    fn a_page_needs_nothing_from_elsewhere() {
        let html = page("T", "", "<p>body</p>").unwrap();
        assert!(html.contains("<main>\n<p>body</p>\n</main>"), "{html}");
        assert!(!html.contains("<script") && !html.contains("http") && !html.contains("url("), "{html}");
        assert!(html.contains("@media print") && html.starts_with("<!DOCTYPE html>"));
    }
}
