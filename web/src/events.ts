// What the server tells by itself, over a stream.

export interface Told {
  /** `open` and `error` are of the stream itself, the rest as the server names them. */
  name: string;
  data: string;
}

export interface Stream {
  /** Opens it anew, unless it is open and alive. */
  again(): void;
  /** Hears all that is told from now on; gives what ends that. */
  on(hear: (told: Told) => void): () => void;
}

/** Events of the server. */
export const NAMES = ["heartbeat", "plan-changed", "plan-gone", "beside-changed", "job", "missed"] as const;

/** Three heartbeats. */
const SILENT_MS = 16_000;
/** So long a stream may take to open before it is given up. */
const OPENING_MS = 3000;

/** The stream of one page, or of the worker. */
export function ownStream(): Stream {
  const heard = new Set<(told: Told) => void>();
  const tell = (name: string, data = "{}"): void => heard.forEach((hear) => hear({ name, data }));
  let events: EventSource | null = null;
  let beat = 0;
  return {
    again() {
      const since = Date.now() - beat;
      if (events?.readyState === EventSource.OPEN && since < SILENT_MS) {
        tell("open");
        return;
      }
      if (events?.readyState === EventSource.CONNECTING && since < OPENING_MS) return;
      events?.close();
      beat = Date.now();
      const made = new EventSource("/api/events");
      events = made;
      made.onopen = () => {
        beat = Date.now();
        tell("open");
      };
      made.onerror = () => tell("error");
      for (const name of NAMES) {
        made.addEventListener(name, (event) => {
          beat = Date.now();
          tell(name, event.data);
        });
      }
    },
    on(hear) {
      heard.add(hear);
      return () => heard.delete(hear);
    },
  };
}
