export interface DiffLine {
  kind: "same" | "mine" | "theirs";
  text: string;
  line: number;
}

/**
 * Lines of two texts beside each other by their longest common part. Beyond `most` lines in each middle the middles are
 * shown whole, one after the other: true, though longer than need be.
 */
export function difference(mine: string, theirs: string, most = 1500): DiffLine[] {
  const a = mine.split("\n");
  const b = theirs.split("\n");
  let head = 0;
  while (head < a.length && head < b.length && a[head] === b[head]) head += 1;
  let tail = 0;
  while (tail < a.length - head && tail < b.length - head && a[a.length - 1 - tail] === b[b.length - 1 - tail]) tail += 1;
  const x = a.slice(head, a.length - tail);
  const y = b.slice(head, b.length - tail);
  const found: DiffLine[] = a.slice(0, head).map((text, i) => ({ kind: "same", text, line: i + 1 }));
  if (x.length > most || y.length > most) {
    x.forEach((text, i) => found.push({ kind: "mine", text, line: head + i + 1 }));
    y.forEach((text, i) => found.push({ kind: "theirs", text, line: head + i + 1 }));
  } else {
    const width = y.length + 1;
    const common = new Uint16Array((x.length + 1) * width);
    const get = (i: number, j: number): number => common[i * width + j] ?? 0;
    for (let i = x.length - 1; i >= 0; i -= 1) {
      for (let j = y.length - 1; j >= 0; j -= 1) {
        common[i * width + j] = x[i] === y[j] ? get(i + 1, j + 1) + 1 : Math.max(get(i + 1, j), get(i, j + 1));
      }
    }
    let i = 0;
    let j = 0;
    while (i < x.length || j < y.length) {
      if (i < x.length && j < y.length && x[i] === y[j]) {
        found.push({ kind: "same", text: x[i] ?? "", line: head + j + 1 });
        i += 1;
        j += 1;
      } else if (i < x.length && (j >= y.length || get(i + 1, j) >= get(i, j + 1))) {
        found.push({ kind: "mine", text: x[i] ?? "", line: head + i + 1 });
        i += 1;
      } else {
        found.push({ kind: "theirs", text: y[j] ?? "", line: head + j + 1 });
        j += 1;
      }
    }
  }
  b.slice(b.length - tail).forEach((text, i) => found.push({ kind: "same", text, line: b.length - tail + i + 1 }));
  return found;
}

/** The changed lines with some of what stands around them; null marks a gap. */
export function hunks(lines: readonly DiffLine[], around = 2): (DiffLine | null)[] {
  const shown: (DiffLine | null)[] = [];
  let last = -1;
  lines.forEach((line, i) => {
    const near = lines.slice(Math.max(0, i - around), i + around + 1).some(({ kind }) => kind !== "same");
    if (!near) return;
    if (shown.length > 0 && i > last + 1) shown.push(null);
    shown.push(line);
    last = i;
  });
  return shown;
}
