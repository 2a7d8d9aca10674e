// The camera as a reader of the pack's DataMatrix. Where the device has no reader of its own the label is typed; the screen says which it is.

import { useEffect, useRef, useState } from "preact/hooks";
import { t } from "../../../i18n";

/** Detector is the browser's reader of barcodes (Shape Detection, a draft of the W3C's community group; not everywhere). */
interface Detector { detect(source: HTMLVideoElement): Promise<{ rawValue: string }[]> }
type DetectorMaker = new (options: { formats: string[] }) => Detector;

const maker = (): DetectorMaker | undefined => (globalThis as { BarcodeDetector?: DetectorMaker }).BarcodeDetector;

/** Scan shows the camera and what it read. */
export function Scan({ onRead }: { onRead?: (elementString: string) => void }) {
  const [on, setOn] = useState(false);
  const [read, setRead] = useState("");
  if (!maker() || !navigator.mediaDevices) return <p class="soft">{t("scan.none")}</p>;
  return (
    <div class="stack tight">
      <button type="button" class="button chart" aria-pressed={on} onClick={() => setOn(!on)}>{t(on ? "scan.stop" : "scan.start")}</button>
      {on && <Camera onRead={(text) => { setRead(text); setOn(false); onRead?.(text); }} />}
      {read && <p class="message">{t("scan.read", { text: read })}</p>}
    </div>
  );
}

function Camera({ onRead }: { onRead: (text: string) => void }) {
  const video = useRef<HTMLVideoElement>(null);
  const [failed, setFailed] = useState(false);
  useEffect(() => {
    let stream: MediaStream | undefined, stopped = false, timer = 0;
    const detector = new (maker()!)({ formats: ["data_matrix"] });
    const look = async () => {
      if (stopped || !video.current) return;
      const found = await detector.detect(video.current).catch(() => []);
      if (found[0] && !stopped) onRead(found[0].rawValue);
      else timer = window.setTimeout(look, 200);
    };
    navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } }).then((s) => {
      stream = s;
      if (!video.current || stopped) return s.getTracks().forEach((track) => track.stop());
      video.current.srcObject = s;
      void video.current.play().then(look);
    }, () => setFailed(true));
    return () => { stopped = true; clearTimeout(timer); stream?.getTracks().forEach((track) => track.stop()); };
  }, []);
  return failed ? <p class="message caution">{t("scan.failed")}</p> : <video class="camera" ref={video} muted playsInline aria-label={t("scan.view")} />;
}
