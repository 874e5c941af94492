import type { TraceRecord } from "../documents.ts";

export interface Page {
  records: TraceRecord[];
  more: boolean;
}

/** Records page by page, by their numbers, up to `most` of them; and whether there are more. */
export async function allOf(page: (after: number | null) => Promise<Page>, most: number): Promise<Page> {
  const records: TraceRecord[] = [];
  let more = true;
  while (more && records.length < most) {
    const next = await page(records.at(-1)?.id ?? null);
    records.push(...next.records);
    if (next.more && next.records.length === 0) throw new Error("the server says that there are more records, and gives none");
    more = next.more;
  }
  return { records, more };
}
