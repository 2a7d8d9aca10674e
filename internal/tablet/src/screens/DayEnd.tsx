// The end of the day: everything goes to the server while one watches, and a plain sentence says whether it is there and whether it is backed up.

import { useEffect, useState } from "preact/hooks";
import type { Core } from "../core";
import type { Session } from "../messages";
import { t } from "../i18n";
import { useRead } from "../use";
import { age, waiting } from "../ui/SyncMark";
import { Frame } from "./Frame";
import { mainRail } from "./Day";
import { go } from "./route";
import { dayText, word } from "../i18n";
import { today } from "./today";

/** useAwake keeps the screen on while work goes up, where the device can. */
function useAwake(on: boolean) {
  useEffect(() => {
    if (!on || !navigator.wakeLock) return;
    let lock: WakeLockSentinel | undefined, ended = false;
    navigator.wakeLock.request("screen").then((l) => { if (ended) void l.release(); else lock = l; }, () => undefined);
    return () => { ended = true; void lock?.release(); };
  }, [on]);
}

/** DayEnd is the screen. */
export function DayEnd({ core }: { core: Core }) {
  const sync = core.sync.value;
  const [begun, setBegun] = useState(0);
  const start = () => { setBegun(sync.unsent); core.syncNow(); };
  useAwake(sync.busy);
  const gone = Math.max(0, begun - sync.unsent);
  return (
    <Frame core={core} rail={mainRail("day_end")} title={t("end.title")} head={<strong>{core.device.value.label}</strong>}
      deck={<button type="button" class="button primary great" onClick={start} aria-disabled={sync.busy}>{t(sync.busy ? "end.sending" : "end.send")}</button>}>
      <section class={sync.away && sync.unsent > 0 ? "message hold stack tight" : sync.word === "needs_you" ? "message caution stack tight" : "message stack tight"} role="status">
        <p class="ending">{ending(core)}</p>
        <p>{waiting(sync)}</p>
        {begun > 0 && sync.busy && <progress max={begun} value={gone} aria-label={t("end.progress", { gone, all: begun })}>{gone}</progress>}
      </section>
      <Words core={core} />
      {sync.needs.length > 0 && (
        <section class="stack tight" aria-label={t("end.needs")}>
          <h2>{t("end.needs")}</h2>
          <ul class="rows">{sync.needs.map((n) => <li class="card row apart"><span><span aria-hidden="true">{"\u25b2"}</span> {n.text}</span>{["conflict", "held", "recovered"].includes(n.kind) && <button type="button" class="button" onClick={() => go({ screen: "conflicts" })}>{t("end.look")}</button>}</li>)}</ul>
        </section>
      )}
      <Patients core={core} />
    </Frame>
  );
}

/** ending is the plain sentence. It never says more than the core does. */
function ending(core: Core): string {
  const s = core.sync.value;
  if (s.busy) return t("end.busy", { n: s.unsent });
  if (s.away && s.unsent > 0) return t("end.dead");
  if (s.unsent === 0 && s.word === "needs_you") return t("end.needs_sent");
  if (s.unsent > 0) return t("end.waits", { n: s.unsent });
  if (s.word === "backed_up") return t("end.all_backed_up");
  return s.word === "needs_you" ? t("end.needs_you") : s.last_unix_ms ? t("end.all_on_server", { time: age(s.last_unix_ms) }) : t("end.never");
}

/** Words says what the four states mean, and marks the one that holds. */
function Words({ core }: { core: Core }) {
  const now = core.sync.value.word;
  return (
    <ol class="four">{(["saved", "on_server", "backed_up", "needs_you"] as const).map((w) => (
      <li class={w === now ? "card marked" : "card"} aria-current={w === now ? "true" : undefined}><p class="strong">{w === now ? "\u25b6 " : ""}{t(`state4.${w}`)}</p><p class="small soft">{t(`state4.${w}_more`)}</p></li>
    ))}</ol>
  );
}

/** Patients lists today's visits and whether each is signed; how far each is on the server is the tablet's count until the core tells it a patient. */
function Patients({ core }: { core: Core }) {
  const on = today();
  const rows = useRead(core, async () => {
    const views = await core.sessions({ from: on, until: on });
    const all = views.map((v) => v.record?.session).filter((s): s is Session => Boolean(s && !s.void));
    return Promise.all(all.map(async (session) => ({ session, patient: session.patient_id ? await core.patient(session.patient_id) : null })));
  }, [on.day]).value ?? [];
  return (
    <section class="stack tight" aria-label={t("end.patients")}>
      <h2>{t("end.patients")}</h2>
      {rows.length === 0 && <p class="soft">{t("day.empty")}</p>}
      <div class="rows">{rows.map(({ session: s, patient }) => (
        <button type="button" class="line" onClick={() => go({ screen: "visit", id: s.id!, step: "finish" })}>
          <span><span class="strong">{patient?.name?.full ?? t("patient.unknown")}</span> <span class="soft">{dayText(s.on)}, {word("kind", s.kind)}</span></span>
          <span>{(s.signatures ?? []).length ? `\u2713 ${t("state.signed")}` : `\u25b2 ${t("patient.unsigned")}`}</span>
        </button>
      ))}</div>
    </section>
  );
}
