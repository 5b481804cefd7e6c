//! Lines out of a stream, with bounded memory: a line that never ends is cut off.

use super::words::LONGEST_LINE;
use crate::diagnostic::{Diagnostic, Outcome};
use std::io::{self, Read};

/// Bytes read at a time.
const CHUNK: usize = 1 << 16;

/// Bytes kept of a line that is too long: enough to see that it is.
const KEPT: usize = LONGEST_LINE + 1;

/// A source of lines.
pub struct Lines<R> {
    source: R,
    buffer: Vec<u8>,
    start: usize,
    end: usize,
    /// A line that lies across two chunks.
    long: Vec<u8>,
    /// Bytes so far.
    bytes: u64,
    ended: bool,
    /// The last line has its line end.
    whole: bool,
}

impl<R: Read> Lines<R> {
    /// Lines of a source.
    pub fn new(source: R) -> Self {
        let buffer = vec![0; CHUNK];
        Self { source, buffer, start: 0, end: 0, long: Vec::new(), bytes: 0, ended: false, whole: true }
    }

    /// Bytes read so far.
    pub fn bytes(&self) -> u64 {
        self.bytes
    }

    /// The last line had its line end.
    pub fn whole(&self) -> bool {
        self.whole
    }

    /// Gives every line to `take`. `name` is the source's, for messages.
    ///
    /// Errors: `file-unreadable`.
    pub fn all(&mut self, name: &str, mut take: impl FnMut(&[u8])) -> Outcome<()> {
        while self.next(&mut take).map_err(|e| {
            Diagnostic::error("file-unreadable", format!("`{name}` cannot be read: {e}")).in_file(name)
        })? {}
        Ok(())
    }

    /// Gives the next line, without its `\n`, to `take`; false at the end. Of a line
    /// longer than 256 bytes only the first 257 are given.
    ///
    /// Errors: the source's.
    pub fn next(&mut self, mut take: impl FnMut(&[u8])) -> io::Result<bool> {
        self.long.clear();
        loop {
            let rest = &self.buffer[self.start..self.end];
            if let Some(at) = rest.iter().position(|&c| c == b'\n') {
                let line = &rest[..at];
                self.start += at + 1;
                if self.long.is_empty() {
                    take(&line[..line.len().min(KEPT)]);
                } else {
                    let room = KEPT.saturating_sub(self.long.len());
                    self.long.extend_from_slice(&line[..line.len().min(room)]);
                    take(&self.long);
                }
                return Ok(true);
            }
            let room = KEPT.saturating_sub(self.long.len());
            self.long.extend_from_slice(&rest[..rest.len().min(room)]);
            (self.start, self.end) = (0, 0);
            if self.ended {
                return Ok(self.last(take));
            }
            match self.source.read(&mut self.buffer) {
                Ok(0) => self.ended = true,
                Ok(n) => {
                    self.end = n;
                    self.bytes += n as u64;
                }
                Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
                Err(e) => return Err(e),
            }
        }
    }

    fn last(&mut self, mut take: impl FnMut(&[u8])) -> bool {
        if self.long.is_empty() {
            return false;
        }
        self.whole = false;
        take(&self.long);
        self.long.clear();
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lines(text: &[u8]) -> (Vec<Vec<u8>>, bool) {
        let mut lines = Lines::new(text);
        let mut out = Vec::new();
        while lines.next(|l| out.push(l.to_vec())).expect("memory is readable") {}
        (out, lines.whole())
    }

    #[test]
    fn lines_and_their_ends() {
        let (found, whole) = lines(b"a\n\nbc\n");
        assert_eq!((found, whole), (vec![b"a".to_vec(), Vec::new(), b"bc".to_vec()], true));
        assert_eq!(lines(b"a\nb"), (vec![b"a".to_vec(), b"b".to_vec()], false));
        assert_eq!(lines(b""), (Vec::new(), true));
    }

    #[test]
    fn a_line_across_chunks_is_one_line() {
        let mut text = Vec::new();
        for k in 0..40_000_u32 {
            text.extend_from_slice(format!("G1 X{k}\n").as_bytes());
        }
        let (found, _) = lines(&text);
        assert_eq!(found.len(), 40_000);
        for (k, line) in found.iter().enumerate() {
            assert_eq!(line, format!("G1 X{k}").as_bytes(), "line {k}");
        }
    }

    #[test]
    fn a_line_without_end_takes_no_memory() {
        let endless = io::repeat(b'7').take(50_000_000);
        let mut lines = Lines::new(endless);
        let mut seen = 0;
        while lines.next(|l| seen = l.len()).expect("it can be read") {}
        assert_eq!((seen, lines.bytes(), lines.long.capacity() < 4096), (257, 50_000_000, true));
    }
}
