import { ownStream, type Stream, type Told } from "./events.ts";

// A browser has few connections to one server, and each stream holds one for good: so all pages of a browser share one stream, which a
// shared worker holds, and the progress of long work comes over it too.

function sharedStream(): Stream {
  const heard = new Set<(told: Told) => void>();
  const worker = new SharedWorker(new URL("./stream.worker.ts", import.meta.url), { type: "module", name: "soundline-desk" });
  let own: Stream | null = null;
  worker.port.onmessage = (event: MessageEvent<Told>) => heard.forEach((hear) => hear(event.data));
  worker.onerror = () => {
    // A browser that has such workers and does not let this one run.
    if (own !== null) return;
    own = ownStream();
    own.on((told) => heard.forEach((hear) => hear(told)));
    own.again();
  };
  window.addEventListener("pagehide", () => worker.port.postMessage("gone"));
  window.addEventListener("pageshow", (event) => {
    if (event.persisted) worker.port.postMessage("again");
  });
  return {
    again: () => (own === null ? worker.port.postMessage("again") : own.again()),
    on(hear) {
      heard.add(hear);
      return () => heard.delete(hear);
    },
  };
}

export const stream: Stream = typeof SharedWorker === "undefined" ? ownStream() : sharedStream();
