// The pause: always in view, one tap away, and never a lock. It opens the clinic's emergency card and stays on the screen while it lasts.

import { useState } from "preact/hooks";
import { t, timeText, word } from "../../i18n";
import { useRead } from "../../use";
import { act, pausedNow } from "./record";
import type { Visit } from "./useVisit";

const reasons = ["faint", "bleeding", "pain", "wish", "equipment", "interruption"] as const;

/** PauseBar is the button in the deck. */
export function PauseBar({ visit, onPause }: { visit: Visit; onPause: () => void }) {
  const paused = pausedNow(visit.session);
  return (
    <button type="button" class="button warn" onClick={paused ? () => resume(visit, paused.id!) : onPause}>
      <span aria-hidden="true">{paused ? "\u25b6" : "\u2016"}</span> {t(paused ? "pause.go_on" : "pause.pause")}
    </button>
  );
}

const resume = (visit: Visit, id: string) => visit.write([`pauses[${id}].ended`], { pauses: [{ id, ended: act(visit.core.person.value.staff_id) }] });

function begin(visit: Visit, reason: string, card: boolean) {
  const id = visit.core.newId();
  return visit.write([`pauses[${id}]`], { pauses: [{ id, began: { reason, began: act(visit.core.person.value.staff_id), emergency_card: card } }] });
}

/** PausePanel asks why and shows the emergency card; what is on the screen below stays. */
export function PausePanel({ visit, onClose }: { visit: Visit; onClose: () => void }) {
  const [card, setCard] = useState(false);
  const paused = pausedNow(visit.session);
  return (
    <section class="message hold stack tight" aria-label={t("pause.title")}>
      <h2>{paused ? t("pause.since", { reason: word("pause_reason", paused.began?.reason), time: timeText(paused.began?.began?.at) }) : t("pause.why")}</h2>
      {!paused && <div class="choice">{reasons.map((r) => <button type="button" class="button chart" onClick={() => begin(visit, r, card)}>{word("pause_reason", r)}</button>)}</div>}
      <div class="row">
        <button type="button" class="button chart" aria-expanded={card} onClick={() => setCard(!card)}>{t("pause.card")}</button>
        {paused
          ? <button type="button" class="button chart primary" onClick={() => { void resume(visit, paused.id!); onClose(); }}>{t("pause.go_on")}</button>
          : <button type="button" class="button chart" onClick={onClose}>{t("pause.not")}</button>}
      </div>
      {card && <EmergencyCard visit={visit} />}
    </section>
  );
}

function EmergencyCard({ visit }: { visit: Visit }) {
  const clinic = useRead(visit.core, () => visit.core.view({ kind: "RECORD_KIND_CLINIC", record_id: visit.session.clinic_id ?? "" }), [visit.session.clinic_id]).value?.record?.clinic;
  const card = clinic?.emergency;
  if (!card?.text) return <p class="strong">{t("pause.no_card")}</p>;
  return (
    <div class="card stack tight large">
      <p style={{ whiteSpace: "pre-line" }}>{card.text}</p>
      {card.phone && <p class="quantity great">{card.phone}</p>}
    </div>
  );
}
