// What was given beside what was planned, by muscle and side, with the vial and its lot.

import { t, timeText, word } from "../../../i18n";
import { Quantity } from "../../../ui/Quantity";
import { mlOf, quantityText, unitsOf } from "../../../ui/decimal";
import { useRead } from "../../../use";
import { placeText } from "../plan/place";
import { givings, live, plannedUnits, skipped } from "../record";
import type { Visit } from "../useVisit";

/** GivenTable is the table. */
export function GivenTable({ visit }: { visit: Visit }) {
  const rows = [...live(visit.session), ...skipped(visit.session)];
  const ids = [...new Set(rows.flatMap(givings).map((g) => g.given?.vial_id).filter((v): v is string => Boolean(v)))];
  const vials = useRead(visit.core, () => Promise.all(ids.map((record_id) => visit.core.view({ kind: "RECORD_KIND_VIAL", record_id }))), [ids.join()]).value ?? [];
  return (
    <>
      <table class="lead">
        <thead><tr><th scope="col">{t("given.where")}</th><th scope="col">{t("given.planned")}</th><th scope="col">{t("given.given")}</th></tr></thead>
        <tbody>{rows.map((i) => (
          <tr>
            <th scope="row">{word("side", i.side)}, {word("muscle", i.muscle)}<span class="soft small" style={{ display: "block", fontWeight: 400 }}>{placeText(i.place)}</span></th>
            <td data-label={t("given.planned")}>{plannedUnits(i) ? <Quantity value={plannedUnits(i)} unit="units" /> : t("given.unplanned")}</td>
            <td data-label={t("given.given")}>
              {givings(i).length === 0 && <span class="strong">{i.void ? t("given.skipped", { reason: i.void.reason ?? "" }) : t("given.not")}</span>}
              {givings(i).map((g) => (
                <span style={{ display: "block" }}><Quantity value={unitsOf(g.given?.dose?.dose_milliunits)} unit="units" /> <span class="soft small">{timeText(g.done?.at)}
                  {g.given?.volume_nanoliters ? `, ${quantityText(mlOf(g.given.volume_nanoliters), "mL")}` : ""}{g.spill ? `, ${t("given.spilt")}` : ""}</span></span>
              ))}
            </td>
          </tr>
        ))}</tbody>
      </table>
      {vials.map((v) => v?.record?.vial && <p>{t("given.from", { product: v.record.vial.presentation?.product ?? "", number: v.record.vial.short_number ?? "", lot: v.record.vial.labelling?.lot_number ?? t("word.none") })}</p>)}
    </>
  );
}
