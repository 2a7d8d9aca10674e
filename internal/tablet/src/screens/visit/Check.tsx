// The check before the first needle: six things said aloud, each with what the record has of it. An item that is left open was not checked.

import { useState } from "preact/hooks";
import type { ReadinessAnswers } from "../../messages";
import { dayText, t, timeText, word } from "../../i18n";
import { Findings } from "../../ui/Findings";
import { useRead } from "../../use";
import { act, live } from "./record";
import { useVial } from "./useVial";
import type { StepProps } from "./Visit";

const items = ["identity", "sides", "product", "consent", "order", "skin"] as const;
type Item = (typeof items)[number];

/** Check is the step. */
export function Check({ visit, layout }: StepProps) {
  const [said, setSaid] = useState<Partial<Record<Item, boolean>>>({});
  const vial = useVial(visit).vial;
  const order = useRead(visit.core, async () => (visit.session.order_id ? visit.core.view({ kind: "RECORD_KIND_ORDER", record_id: visit.session.order_id }) : null), [visit.session.order_id]).value?.record?.order;
  const last = (visit.session.readiness_checks ?? []).at(-1)?.check;
  const open = (visit.check?.findings ?? []).filter((f) => f.level === "LEVEL_HOLD" && !f.answer);
  const about: Record<Item, string> = {
    identity: `${visit.patient?.name?.full ?? ""}, ${t("patient.born", { day: dayText(visit.patient?.birth?.date) })}`,
    sides: t("check.sides_more", { n: live(visit.session).length }),
    product: vial ? `${vial.presentation?.product ?? ""}, ${t("vial.lot", { lot: vial.labelling?.lot_number ?? t("word.none"), day: dayText(vial.labelling?.expires_on) })}` : t("draw.no_vial"),
    consent: (visit.session.consents ?? []).some((c) => c.signature && !c.withdrawn) ? t("state.signed") : t("check.no_consent"),
    order: order ? t("check.order_more", { kind: word("order_kind", order.kind) }) : t("check.no_order"),
    skin: t("check.skin_more"),
  };
  const save = async () => {
    const id = visit.core.newId(), done = act(visit.core.person.value.staff_id), state = visit.core.newId(), identity = visit.core.newId();
    const check: ReadinessAnswers = { ...said, done };
    const kept = await visit.write([`readiness_checks[${id}]`, `states[${state}]`, ...(said.identity ? [`identity_checks[${identity}]`] : [])], {
      readiness_checks: [{ id, check }], states: [{ id: state, change: { step: "SESSION_STEP_READY", moved: done } }],
      ...(said.identity ? { identity_checks: [{ id: identity, check: { identifiers: ["full_name", "date_of_birth"], done } }] } : {}) });
    if (kept) visit.show("treat");
  };
  return layout({
    title: t("check.title"),
    deck: <button type="button" class="button primary" onClick={save}>{t("check.save")}</button>,
    body: (
      <>
        {last && <p class="message">{t("check.last", { time: timeText(last.done?.at) })}</p>}
        {open.length > 0 && <Findings findings={open} />}
        <ul class="rows">{items.map((i) => (
          <li class="card checkline">
            <div><p class="large strong">{word("check", i)}</p><p class="soft">{about[i]}</p></div>
            <div class="choice" role="group" aria-label={word("check", i)}>
              <button type="button" class="button chart" aria-pressed={said[i] === true} onClick={() => setSaid({ ...said, [i]: true })}>{"\u2713"} {t("check.yes")}</button>
              <button type="button" class="button chart" aria-pressed={said[i] === false} onClick={() => setSaid({ ...said, [i]: false })}>{"\u2715"} {t("check.no")}</button>
            </div>
          </li>
        ))}</ul>
      </>
    ),
  });
}
