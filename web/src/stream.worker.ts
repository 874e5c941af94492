import { ownStream, type Told } from "./events.ts";

// Holds the one stream of all pages of a browser.

const stream = ownStream();
const ports = new Map<MessagePort, () => void>();

function hear(port: MessagePort): void {
  if (!ports.has(port)) ports.set(port, stream.on((told: Told) => port.postMessage(told)));
}

(self as unknown as { onconnect: (event: MessageEvent) => void }).onconnect = (event) => {
  const port = event.ports[0];
  if (port === undefined) return;
  hear(port);
  port.onmessage = ({ data }: MessageEvent<"again" | "gone">) => {
    if (data === "gone") {
      ports.get(port)?.();
      ports.delete(port);
    } else {
      hear(port);
      stream.again();
    }
  };
};
