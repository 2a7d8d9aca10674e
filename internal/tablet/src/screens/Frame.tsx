// The frame of a screen: whom it is about, the steps, the work, and the actions at the lower edge where a thumb reaches them.

import type { ComponentChildren } from "preact";
import type { Core } from "../core";
import { t } from "../i18n";
import { SyncMark } from "../ui/SyncMark";
import { go, hand } from "./route";

/** RailItem is a line of the rail. */
export interface RailItem {
  readonly label: string;
  /** How far it is, in a word or two, beside a shape. */
  readonly state?: string | undefined;
  readonly current: boolean;
  readonly onGo: () => void;
}

interface FrameProps {
  readonly core: Core;
  /** Whom or what the screen is about. */
  readonly head: ComponentChildren;
  readonly rail?: readonly RailItem[];
  readonly title: string;
  readonly children: ComponentChildren;
  /** What can be done, the main thing last. */
  readonly deck?: ComponentChildren;
}

/** Frame lays out a screen. */
export function Frame({ core, head, rail, title, children, deck }: FrameProps) {
  return (
    <div class={rail ? "app" : "app bare"} data-hand={hand.value}>
      <a class="skip" href="#page" onClick={(e) => { e.preventDefault(); document.getElementById("page")?.focus(); }}>{t("frame.skip")}</a>
      <header class="head">
        <div class="who">{head}</div>
        <SyncMark sync={core.sync.value} onOpen={() => go({ screen: "day_end" })} />
      </header>
      {rail && <Rail items={rail} />}
      <main class="page" id="page" tabIndex={-1}>
        <h1 tabIndex={-1}>{title}</h1>
        {children}
      </main>
      {deck && <footer class="deck" aria-label={t("frame.actions")}>{deck}</footer>}
    </div>
  );
}

function Rail({ items }: { items: readonly RailItem[] }) {
  return (
    <nav class="rail" aria-label={t("frame.steps")}>
      <ol>
        {items.map((i) => (
          <li>
            <a href="#page" aria-current={i.current ? "step" : undefined} onClick={(e) => { e.preventDefault(); i.onGo(); }}>
              <span>{i.label}</span>
              {i.state && <span class="state">{i.state}</span>}
            </a>
          </li>
        ))}
      </ol>
    </nav>
  );
}

/** Caution is the sentence that stands wherever a dose does; the core gives it with its answers. */
export function Caution({ text }: { text?: string | undefined }) {
  return <p class="caution-line">{text || t("caution.usual")}</p>;
}
