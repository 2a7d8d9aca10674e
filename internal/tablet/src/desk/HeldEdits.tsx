// Edits that the server did not take: what each would have written, why it waits, and a person's judgement. None is ever thrown away.

import { useState } from "preact/hooks";
import type { Core } from "../core";
import type { GiveUpHeldEditResponse, HeldRecordEdit, ListHeldEditsResponse, ReleaseHeldEditResponse } from "../messages";
import { dayText, momentText, t, word } from "../i18n";
import { fieldName, valueText } from "../screens/value";
import { useRead } from "../use";
import { useDoing, usePages } from "./call";
import { More, Reason, State, Trouble } from "./parts";

/** HeldEdits is the screen. */
export function HeldEdits({ core }: { core: Core }) {
  const [judged, setJudged] = useState(false);
  const asked = usePages<ListHeldEditsResponse, HeldRecordEdit>(core, "chart/ListHeldEdits", { page_size: 100, ...(judged ? { include_judged: true } : {}) }, (a) => a.held_edits, [judged]);
  return (
    <>
      <p>{t("heldedits.what")}</p>
      <div><button type="button" class="button" aria-pressed={judged} onClick={() => setJudged(!judged)}>{t("heldedits.judged")}</button></div>
      <State asked={asked} />
      {asked.value && asked.rows.length === 0 && <p class="message large">{t("heldedits.none")}</p>}
      {asked.rows.map((h) => <Held key={`${h.authorship?.dot?.replica_id} ${h.authorship?.dot?.counter}`} core={core} held={h} again={asked.again} />)}
      <More more={asked.more} busy={asked.busy} />
    </>
  );
}

function Held({ core, held: h, again }: { core: Core; held: HeldRecordEdit; again: () => void }) {
  const doing = useDoing(core);
  const [asking, setAsking] = useState<"" | "release" | "give_up">("");
  const [take, setTake] = useState<readonly string[]>([]);
  const rewritten = h.rewritten_paths ?? [];
  const about = useAbout(core, h);
  const dot = h.authorship?.dot;
  const done = (ok: unknown) => { if (ok) { setAsking(""); again(); } };
  const release = async (reason: string) => done(await doing.run<ReleaseHeldEditResponse>("chart/ReleaseHeldEdit", { dot, reason, ...(take.length ? { take_paths: take } : {}) }));
  const giveUp = async (reason: string) => done(await doing.run<GiveUpHeldEditResponse>("chart/GiveUpHeldEdit", { dot, reason }));
  const waits = h.status !== "HELD_STATUS_RELEASED" && h.status !== "HELD_STATUS_GIVEN_UP" && h.status !== "HELD_STATUS_APPLIED";
  return (
    <section class="card stack tight">
      <div class="row apart"><h2>{word("record", h.key?.kind)}{about ? `: ${about}` : ""}</h2><span class={waits ? "tag caution" : "tag"}>{word("heldstatus", h.status)}</span></div>
      <p class="soft">{t("conflict.by", { name: h.authorship?.staff_name ?? "", tablet: h.authorship?.device_label ?? "", time: momentText(h.authorship?.authored_at) })}</p>
      <p><span class="strong">{word("reason", h.reason)}</span> {h.detail}</p>
      <dl class="pairs">{(h.writes ?? []).map((w) => <><dt>{fieldName(w.path ?? "")}</dt><dd>{w.cleared ? t("conflict.cleared") : valueText(w.value_json ?? "")}</dd></>)}</dl>
      {h.partial && <p>{t("held.partial")}</p>}
      <Trouble trouble={doing.trouble} />
      {waits && !asking && <div class="row"><button type="button" class="button primary" onClick={() => setAsking("release")}>{t("heldedits.release")}</button><button type="button" class="button warn" onClick={() => setAsking("give_up")}>{t("heldedits.give_up")}</button></div>}
      {asking === "release" && <Reason key="release" id={`release-${dot?.replica_id}-${dot?.counter}`} label={t("heldedits.why_release")} hint={t("heldedits.release_means", { name: h.authorship?.staff_name ?? "" })} action={t("heldedits.release")} busy={doing.busy} onDo={release} onClose={() => setAsking("")}>
        {rewritten.length > 0 && <fieldset class="stack tight"><legend>{t("heldedits.rewritten")}</legend>{rewritten.map((p) => (
          <button type="button" class="button" role="checkbox" aria-checked={take.includes(p)} onClick={() => setTake(take.includes(p) ? take.filter((x) => x !== p) : [...take, p])}>{take.includes(p) ? "\u2713 " : ""}{t("heldedits.take", { field: fieldName(p) })}</button>
        ))}</fieldset>}
      </Reason>}
      {asking === "give_up" && <Reason key="give_up" id={`giveup-${dot?.replica_id}-${dot?.counter}`} label={t("heldedits.why_give_up")} hint={t("heldedits.give_up_means")} action={t("heldedits.give_up")} warn busy={doing.busy} onDo={giveUp} onClose={() => setAsking("")} />}
    </section>
  );
}

/** useAbout names the record that an edit is about, as far as this tablet knows it. */
function useAbout(core: Core, h: HeldRecordEdit): string {
  return useRead(core, async () => {
    const r = h.key?.record_id ? (await core.view(h.key))?.record : undefined;
    const id = r?.patient?.id ?? r?.session?.patient_id ?? r?.order?.patient_id ?? r?.appointment?.patient_id ?? (h.key?.kind === "RECORD_KIND_PATIENT" ? h.key.record_id : undefined);
    const patient = id ? await core.patient(id) : null;
    return [patient?.name?.full, r?.session?.on && dayText(r.session.on), r?.vial && t("vial.number", { number: r.vial.short_number ?? "" })].filter(Boolean).join(", ");
  }, [h.key?.record_id]).value ?? "";
}
