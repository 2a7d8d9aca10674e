// How the tablet's work stands, in one of four plain states, with how much waits and since when. It is a button to the list of what waits.

import type { SyncState, SyncWord } from "../core";
import { t, timeText } from "../i18n";

const shapes: Record<SyncWord, string> = { saved: "\u25cb", on_server: "\u25d0", backed_up: "\u25cf", needs_you: "\u25b2" };

/** SyncMark shows the state; the sentence is the core's. */
export function SyncMark({ sync, onOpen }: { sync: SyncState; onOpen: () => void }) {
  return (
    <button type="button" class={`button sync ${sync.word}`} onClick={onOpen}>
      <span aria-hidden="true">{shapes[sync.word]}</span>
      <span class="sync-text">
        <span class="strong">{sync.text}</span>
        <span class="small">{waiting(sync)}</span>
      </span>
    </button>
  );
}

/** waiting says how much waits and how old the last exchange is. */
export function waiting(sync: SyncState): string {
  if (sync.busy) return t("sync.busy", { unsent: sync.unsent });
  const last = sync.last_unix_ms ? t("sync.last", { time: age(sync.last_unix_ms) }) : t("sync.never");
  return sync.unsent > 0 ? t("sync.waiting", { unsent: sync.unsent, last }) : last;
}

/** age is how long ago a moment is, in words; past a day it is the day. */
export function age(moment: number, now: number = Date.now()): string {
  const minutes = Math.floor((now - moment) / 60_000);
  if (minutes < 1) return t("age.now");
  if (minutes < 60) return t("age.minutes", { n: minutes });
  const hours = Math.floor(minutes / 60);
  return hours < 24 ? t("age.hours", { n: hours, time: timeText(moment) }) : t("age.days", { n: Math.floor(hours / 24) });
}
