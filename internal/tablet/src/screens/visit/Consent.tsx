// Consent: what is explained, what she asked, and her signature over the text as it was shown.

import { useState } from "preact/hooks";
import { momentText, t } from "../../i18n";
import { Field } from "../../ui/Field";
import { Findings } from "../../ui/Findings";
import { facing } from "../Facing";
import { ConsentForm, consentFor, ConsentWords, useConsentTexts } from "./ConsentForm";
import { act } from "./record";
import type { StepProps } from "./Visit";

/** Consent is the step. */
export function Consent({ visit, layout }: StepProps) {
  const texts = useConsentTexts(visit);
  const [which, setWhich] = useState(0);
  const text = texts[which] ?? texts[0];
  return layout({
    title: t("consent.title"),
    deck: (
      <>
        {text && <button type="button" class="button" onClick={() => { facing.value = { id: visit.session.id!, what: "consent", text: text.id! }; }}>{t("facing.hand_over")}</button>}
        <button type="button" class="button primary" onClick={() => visit.show("photos")}>{t("consent.next")}</button>
      </>
    ),
    body: (
      <>
        <Findings findings={(visit.check?.findings ?? []).filter((f) => /CONSENT|COOLING/.test(f.code ?? ""))} />
        {texts.length > 1 && <div class="choice" role="group" aria-label={t("consent.texts")}>{texts.map((c, n) => <button type="button" class="button chart" aria-pressed={c === text} onClick={() => setWhich(n)}>{c.title}</button>)}</div>}
        {!text ? <p class="message caution">{t("consent.no_text")}</p> : <><ConsentWords text={text} /><ConsentForm key={text.id} visit={visit} text={text} /><Withdraw visit={visit} id={consentFor(visit, text)?.signature ? consentFor(visit, text)!.id : undefined} withdrawn={consentFor(visit, text)?.withdrawn?.recorded?.at} /></>}
      </>
    ),
  });
}

/** Withdraw records that she took her consent back; it is never refused and asks for no more than what she said. */
function Withdraw({ visit, id, withdrawn }: { visit: StepProps["visit"]; id: string | undefined; withdrawn: string | undefined }) {
  const [asking, setAsking] = useState(false), [reason, setReason] = useState("");
  if (withdrawn) return <p class="message hold">{t("consent.withdrawn", { time: momentText(withdrawn) })}</p>;
  if (!id) return null;
  const save = () => visit.write([`consents[${id}].withdrawn`], { consents: [{ id, withdrawn: { reason: reason.trim(), recorded: act(visit.core.person.value.staff_id) } }] });
  if (!asking) return <div><button type="button" class="button" onClick={() => setAsking(true)}>{t("consent.withdraw")}</button></div>;
  return (
    <div class="card stack tight">
      <Field id="withdraw-why" label={t("consent.withdraw_why")} value={reason} onInput={setReason} />
      <div class="row"><button type="button" class="button warn chart" onClick={save}>{t("consent.withdraw_save")}</button><button type="button" class="button chart" onClick={() => setAsking(false)}>{t("pause.not")}</button></div>
    </div>
  );
}
