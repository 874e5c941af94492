// Line ends. The page works with short ones alone, as its editor and its text fields do; the file keeps its own.

export type LineEnd = "\n" | "\r\n";

/** A text as it lies in a file. */
export interface Lines {
  /** With short line ends. */
  text: string;
  /** What most of its lines end with; short where none ends. */
  end: LineEnd;
  /** Whether lines end in both ways. */
  mixed: boolean;
}

export function linesOf(raw: string): Lines {
  const long = raw.split("\r\n").length - 1;
  const all = raw.split("\n").length - 1;
  return { text: short(raw), end: 2 * long > all ? "\r\n" : "\n", mixed: long > 0 && long < all };
}

/** A lone carriage return ends no line of a TOML file and would be one line more in the editor: it stays what it is in the editor, a line end. */
export function short(raw: string): string {
  return raw.replace(/\r\n?/g, "\n");
}

/** The text as it is written to a file. */
export function withEnds(text: string, end: LineEnd): string {
  return end === "\n" ? text : text.replaceAll("\n", end);
}
