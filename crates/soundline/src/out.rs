//! Where a command writes, and how.

use std::io::{self, BufWriter, IsTerminal, Write};

use clap::ValueEnum;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use plan::Drawing;
use serde::Serialize;
use serde_json::Value;

/// What `--format` asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Asked {
    /// Plain text for people.
    Text,
    /// JSON for programs.
    Json,
    /// Tables for a review.
    Markdown,
}

/// How results are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Format {
    /// Plain text for people.
    Text,
    /// JSON for programs.
    Json,
}

/// When colour is used.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Colour {
    /// On a terminal, unless NO_COLOR is set.
    Auto,
    /// Always.
    Always,
    /// Never.
    Never,
}

/// Where a command writes: results to `stdout`, all else to `stderr`.
pub(crate) struct Out {
    /// Results. Buffered; flushed at the end.
    pub(crate) stdout: Box<dyn Write>,
    /// Mistakes, warnings, notes.
    pub(crate) stderr: Box<dyn Write>,
    /// How results are written.
    pub(crate) format: Format,
    /// Whether the text is Markdown.
    pub(crate) markdown: bool,
    /// How mistakes of a file are drawn on `stderr`.
    pub(crate) drawing: Drawing,
    /// Whether `stdout` may be coloured.
    pub(crate) colour: bool,
    /// Digest of the plan once it has been read, for the document of a command that fails.
    pub(crate) plan_digest: Option<String>,
    /// In JSON: the mistakes told so far, for the same.
    pub(crate) mistakes: Vec<Value>,
    /// Whether a JSON document has been written; a second one would spoil the output.
    pub(crate) documented: bool,
    progress: bool,
}

impl Out {
    /// Standard output and standard error of the process.
    pub(crate) fn standard(asked: Asked, colour: Colour) -> Out {
        let (stdout, stderr) = (io::stdout(), io::stderr());
        let no_color = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
        let coloured = |terminal: bool| match colour {
            Colour::Auto => terminal && !no_color,
            Colour::Always => true,
            Colour::Never => false,
        };
        Out {
            format: match asked {
                Asked::Json => Format::Json,
                Asked::Text | Asked::Markdown => Format::Text,
            },
            markdown: asked == Asked::Markdown,
            drawing: if coloured(stderr.is_terminal()) {
                Drawing::Terminal
            } else {
                Drawing::Plain
            },
            colour: coloured(stdout.is_terminal()),
            plan_digest: None,
            mistakes: Vec::new(),
            documented: false,
            progress: stderr.is_terminal(),
            stdout: Box::new(BufWriter::new(stdout)),
            stderr: Box::new(stderr),
        }
    }

    /// A document of a result with what every document of a plan carries: its digest, the program, the mistakes told so far.
    pub(crate) fn of_plan(&self, document: Value) -> Value {
        beside::of_plan(document, self.plan_digest.as_deref(), &self.mistakes)
    }

    /// Writes a result as JSON, indented, with a line end.
    pub(crate) fn json(&mut self, value: &impl Serialize) -> io::Result<()> {
        self.document(|to| Ok(serde_json::to_writer_pretty(to, value)?))
    }

    /// The same, of a document that `write` writes without its line end.
    pub(crate) fn document(
        &mut self,
        write: impl FnOnce(&mut dyn Write) -> io::Result<()>,
    ) -> io::Result<()> {
        self.documented = true;
        write(&mut self.stdout)?;
        self.stdout.write_all(b"\n")
    }

    /// Prints a text to look things up in: a reader who leaves early has found what was sought.
    pub(crate) fn reference(
        &mut self,
        print: impl FnOnce(&mut Out) -> io::Result<()>,
    ) -> io::Result<()> {
        match print(self).and_then(|()| self.stdout.flush()) {
            Err(error) if error.kind() == io::ErrorKind::BrokenPipe => {
                // What is still held back has no reader.
                self.stdout = Box::new(io::sink());
                Ok(())
            }
            printed => printed,
        }
    }

    /// A progress bar over `length` steps on standard error; it draws nothing unless that is a terminal.
    pub(crate) fn progress(&self, length: u64, what: &'static str) -> ProgressBar {
        let target = if self.progress {
            ProgressDrawTarget::stderr()
        } else {
            ProgressDrawTarget::hidden()
        };
        let style = ProgressStyle::with_template("{msg} {bar:30} {percent:>3} %  {eta} left")
            .expect("the template is well formed");
        ProgressBar::with_draw_target(Some(length), target)
            .with_style(style)
            .with_message(what)
    }
}
