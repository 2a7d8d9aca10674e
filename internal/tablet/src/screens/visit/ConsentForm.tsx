// The text that the patient reads, agrees to or refuses, and signs. The same for staff and in her hands.

import { useState } from "preact/hooks";
import type { Consent, ConsentText, RecordView, Stroke } from "../../messages";
import { momentText, t } from "../../i18n";
import { useRead } from "../../use";
import { Choice } from "../../ui/Choice";
import { Field, useDraft } from "../../ui/Field";
import { Strokes } from "../../ui/Strokes";
import { act, live } from "./record";
import type { Visit } from "./useVisit";

const relations = ["self", "parent", "guardian"] as const;

/** useConsentTexts are the texts that may be explained: published, not withdrawn, about a region of the plan or about none; newest versions. */
export function useConsentTexts(visit: Visit): ConsentText[] {
  const views = useRead(visit.core, () => visit.core.list({ kind: "RECORD_KIND_CONSENT_TEXT" }), []).value ?? [];
  const planned = new Set(live(visit.session).map((i) => visit.anatomy?.muscles.find((m) => m.code === i.muscle)?.region));
  const all = views.map((v: RecordView) => v.record?.consent_text).filter((c): c is ConsentText => Boolean(c?.published && !c.withdrawn));
  const fits = (c: ConsentText) => planned.size === 0 || (c.scope?.regions ?? []).some((r) => planned.has(r));
  const newest = (c: ConsentText) => !all.some((o) => o.series === c.series && o.language === c.language && Number(o.version) > Number(c.version));
  return all.filter((c) => newest(c) && fits(c));
}

/** consentFor is the visit's consent to a text. */
export const consentFor = (visit: Visit, text: ConsentText): Consent | undefined => (visit.session.consents ?? []).filter((c) => c.explained?.consent_text_id === text.id).at(-1);

/** ConsentWords is the text itself. */
export function ConsentWords({ text }: { text: ConsentText }) {
  const paragraphs = (text.paragraphs ?? []).map((p) => p.body).filter((b) => b !== undefined).sort((a, b) => (a.position ?? 0) - (b.position ?? 0));
  return (
    <article class="card stack large">
      <h2>{text.title}</h2>
      {paragraphs.map((p) => <div>{p.heading && <h3>{p.heading}</h3>}<p>{p.text}</p></div>)}
    </article>
  );
}

/** ConsentForm takes the decision and the signature. */
export function ConsentForm({ visit, text, onDone }: { visit: Visit; text: ConsentText; onDone?: () => void }) {
  const have = consentFor(visit, text);
  const [understood, setUnderstood] = useState<string[]>([...(have?.decision?.risks_understood ?? [])]);
  const [strokes, setStrokes] = useState<Stroke[]>([]);
  const [name, setName, forgetName] = useDraft(visit.core, `visit/${visit.session.id}/signer`, visit.patient?.name?.full ?? "");
  const [questions, setQuestions, forgetQuestions] = useDraft(visit.core, `visit/${visit.session.id}/asked`);
  const [relation, setRelation] = useState<string>("self");
  if (have?.signature) return <Signed consent={have} />;
  const toggle = (code: string) => setUnderstood(understood.includes(code) ? understood.filter((c) => c !== code) : [...understood, code]);
  const risks = (text.risks ?? []).map((r) => r.risk).filter((r) => r !== undefined);
  const decide = async (given: boolean) => {
    const taken = act(visit.core.person.value.staff_id), id = have?.id ?? visit.core.newId(), digest = text.published?.digest ?? "";
    const consent: Consent = { id, explained: have?.explained ?? { consent_text_id: text.id!, version: text.version!, digest, regions: text.scope?.regions ?? [], cooling_off_hours: text.cooling_off_hours ?? 0, explained: taken },
      decision: { answer: given ? "CONSENT_ANSWER_GIVEN" : "CONSENT_ANSWER_REFUSED", questions, risks_understood: understood, taken },
      ...(given ? { signature: { signer_name: name.trim(), relation, strokes, text_digest: digest, taken } } : {}) };
    if (await visit.write([`consents[${id}]`], { consents: [consent] })) { forgetName(); forgetQuestions(); onDone?.(); }
  };
  const ready = name.trim() !== "" && understood.length === risks.length;
  return (
    <div class="stack">
      <fieldset>
        <legend>{t("consent.risks")}</legend>
        <div class="stack tight">{risks.map((r) => <button type="button" class="button chart" style={{ justifyContent: "flex-start" }} aria-pressed={understood.includes(r.code!)} onClick={() => toggle(r.code!)}>{understood.includes(r.code!) ? "\u2611" : "\u2610"} {r.text}</button>)}</div>
      </fieldset>
      <Field id="consent-questions" label={t("consent.questions")} hint={t("consent.questions_hint")} value={questions} onInput={setQuestions} lines />
      <Choice legend={t("consent.relation")} value={relation} onPick={setRelation} options={relations.map((value) => ({ value, label: t(`relation.${value}`) }))} />
      <Field id="consent-name" label={t("consent.name")} value={name} onInput={setName} autocomplete="name" />
      <div class="field"><span class="strong">{t("consent.sign")}</span><span class="hint">{t("consent.sign_hint")}</span><Strokes strokes={strokes} onChange={setStrokes} label={t("consent.sign")} /></div>
      {!ready && <p class="soft">{t("consent.not_ready")}</p>}
      <div class="row">
        <button type="button" class="button chart" onClick={() => decide(false)}>{t("consent.refuse")}</button>
        <button type="button" class="button primary great grow" aria-disabled={!ready} onClick={() => ready && decide(true)}>{t("consent.agree")}</button>
      </div>
    </div>
  );
}

function Signed({ consent }: { consent: Consent }) {
  const s = consent.signature!;
  return (
    <div class="card stack tight">
      <p class="strong">{"\u2713"} {t("consent.signed", { name: s.signer_name ?? "", time: momentText(s.taken?.at) })}</p>
      {(s.strokes ?? []).length > 0 && <Strokes strokes={s.strokes!} label={t("consent.sign")} />}
    </div>
  );
}
