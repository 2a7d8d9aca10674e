// Finish: after-care, the review date, and a signature with exactly what is signed before one's eyes.

import { useState } from "preact/hooks";
import type { AfterCare, Date as Day, ReviewRule } from "../../messages";
import { dayText, momentText, t, word } from "../../i18n";
import { Findings } from "../../ui/Findings";
import { Caution } from "../Frame";
import { dayAfter } from "../today";
import { GivenTable } from "./finish/GivenTable";
import { Everything } from "./finish/Everything";
import { act, givings, live } from "./record";
import { attempt, type Visit } from "./useVisit";
import type { StepProps } from "./Visit";

/** Finish is the step. */
export function Finish({ visit, layout }: StepProps) {
  const { core, session, view } = visit;
  const [open, setOpen] = useState(false);
  const signed = (session.signatures ?? []).length > 0;
  const late = view.late_entries ?? [];
  const statement = t(late.length ? "finish.statement_late" : "finish.statement");
  const sign = () => attempt(() => core.sign({ session_id: session.id!, context: view.context ?? "", digest: view.digest ?? "", meaning: late.length ? "SIGNATURE_MEANING_ADDENDUM" : "SIGNATURE_MEANING_PERFORMED", statement }));
  const conflicts = view.conflicts ?? [];
  return layout({
    title: t("finish.title"),
    deck: (
      <>
        <button type="button" class="button" aria-expanded={open} onClick={() => setOpen(!open)}>{t("finish.everything")}</button>
        {!signed || late.length ? <button type="button" class="button primary great" onClick={sign}>{t(late.length ? "finish.countersign" : "finish.sign", { name: core.person.value.name })}</button> : null}
      </>
    ),
    body: (
      <>
        {signed && <ul class="stack tight">{(session.signatures ?? []).map((s) => <li class="message">{"\u2713"} {t("finish.signed", { meaning: word("meaning", s.content?.meaning), time: momentText(Number(s.content?.signed_at_unix_ms)) })}</li>)}</ul>}
        {conflicts.length > 0 && <p class="message hold">{t("finish.conflicts", { n: conflicts.length })}</p>}
        {late.length > 0 && <p class="message caution">{t("finish.late", { n: late.length })}</p>}
        <AfterCareBox visit={visit} />
        <ReviewBox visit={visit} />
        <h2>{t("finish.what")}</h2>
        <GivenTable visit={visit} />
        <Findings findings={(visit.check?.findings ?? []).filter((f) => f.level !== "LEVEL_NOTE")} />
        <p class="large">{statement}</p>
        {open && <Everything session={session} />}
        <Caution text={visit.check?.caution} />
      </>
    ),
  });
}

const encoder = new TextEncoder();

/** digest is SHA-256 of a text in base64. */
async function digest(text: string): Promise<string> {
  const bytes = new Uint8Array(await crypto.subtle.digest("SHA-256", encoder.encode(text)));
  return btoa(String.fromCharCode(...bytes));
}

function AfterCareBox({ visit }: { visit: Visit }) {
  const regions = new Set(live(visit.session).filter((i) => givings(i).length).map((i) => visit.anatomy?.muscles.find((m) => m.code === i.muscle)?.region));
  const lines = (visit.formulary?.after_cares ?? []).filter((e) => !e.removed && e.value).map((e) => e.value!)
    .filter((a: AfterCare) => !a.region || regions.has(a.region)).sort((a, b) => (a.position ?? 0) - (b.position ?? 0));
  const given = visit.session.after_care;
  const give = async (way: string) => {
    const sheet_digest = await digest(lines.map((l) => l.text).join("\n"));
    await visit.write(["after_care"], { after_care: { sheet_digest, language: lines[0]?.language || "en", way, given: act(visit.core.person.value.staff_id) } });
  };
  return (
    <section class="card stack tight" aria-label={t("after.title")}>
      <h2>{t("after.title")}</h2>
      {lines.length === 0 ? <p class="soft">{t("after.none")}</p> : <ul class="bullets">{lines.map((l) => <li class={l.emergency ? "strong" : undefined}>{l.text}</li>)}</ul>}
      {given ? <p class="strong">{"\u2713"} {t("after.given", { way: word("way", given.way), time: momentText(given.given?.at) })}</p>
        : <div class="row">{["paper", "mail"].map((w) => <button type="button" class="button chart" onClick={() => give(w)}>{t("after.give", { way: word("way", w) })}</button>)}</div>}
    </section>
  );
}

/** rulesFor are the formulary's review rules for what was planned, with their days. */
function rulesFor(visit: Visit): ReviewRule[] {
  const regions = new Set(live(visit.session).map((i) => visit.anatomy?.muscles.find((m) => m.code === i.muscle)?.region));
  return (visit.formulary?.review_rules ?? []).filter((e) => !e.removed && e.value?.earliest?.days).map((e) => e.value!).filter((r) => !r.region || regions.has(r.region));
}

function ReviewBox({ visit }: { visit: Visit }) {
  const on = visit.session.on;
  const review = visit.session.review;
  const rules = rulesFor(visit);
  const spans = rules.length ? rules.map((r) => [r.earliest!.days!, r.latest?.days ?? r.earliest!.days! + 7] as const) : [[14, 21] as const, [21, 28] as const];
  const set = (from: Day, until: Day) => visit.write(["review"], { review: { from, until, set: act(visit.core.person.value.staff_id) } });
  return (
    <section class="card stack tight" aria-label={t("reviewdate.title")}>
      <h2>{t("reviewdate.title")}</h2>
      {review && <p class="strong large">{"\u2713"} {t("reviewdate.set", { from: dayText(review.from), until: dayText(review.until) })}</p>}
      {on && <div class="row">{spans.map(([a, b]) => {
        const from = dayAfter(on, a), until = dayAfter(on, b);
        return <button type="button" class="button chart" onClick={() => set(from, until)}>{t("reviewdate.pick", { from: dayText(from), until: dayText(until), days: a })}</button>;
      })}</div>}
    </section>
  );
}
