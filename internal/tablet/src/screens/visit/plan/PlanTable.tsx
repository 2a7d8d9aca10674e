// The table of muscle by side leads the plan. It stands as she sits: the patient's right on the left. Whatever the drawing shows, it says.

import type { Injection, ProductTotal, Side } from "../../../messages";
import { t, word } from "../../../i18n";
import { Quantity } from "../../../ui/Quantity";
import { givenUnits, plannedUnits } from "../record";
import { placeText } from "./place";

interface PlanTableProps {
  readonly injections: readonly Injection[];
  readonly numbers: ReadonlyMap<string, number>;
  readonly totals: ProductTotal | undefined;
  readonly selected: string | undefined;
  readonly onSelect: (id: string) => void;
}

/** PlanTable shows the plan. */
export function PlanTable(props: PlanTableProps) {
  const muscles = [...new Set(props.injections.map((i) => i.muscle ?? ""))];
  return (
    <table class="lead plan">
      <caption class="only-read">{t("plan.table")}</caption>
      <thead><tr><th scope="col">{t("side.right_long")}</th><th scope="col">{t("side.left_long")}</th></tr></thead>
      {muscles.map((m) => <Muscle muscle={m} {...props} />)}
    </table>
  );
}

/** Muscle is the rows of one muscle: its name over both sides, then what each side has. */
function Muscle({ muscle, ...props }: PlanTableProps & { muscle: string }) {
  const of = (...sides: (Side | undefined)[]) => props.injections.filter((i) => i.muscle === muscle && sides.includes(i.side));
  const middle = of("SIDE_MIDLINE", undefined);
  return (
    <tbody>
      <tr>
        <th scope="rowgroup" colSpan={2}>{word("muscle", muscle)} <span class="soft small light">{word("action", muscle)}</span>
          {middle.length > 0 && <Cells {...props} injections={middle} />}
        </th>
      </tr>
      <tr>
        <td data-label={t("side.right_long")}><Cells {...props} injections={of("SIDE_RIGHT")} /><Total {...props} muscle={muscle} side="SIDE_RIGHT" /></td>
        <td data-label={t("side.left_long")}><Cells {...props} injections={of("SIDE_LEFT")} /><Total {...props} muscle={muscle} side="SIDE_LEFT" /></td>
      </tr>
    </tbody>
  );
}

function Cells({ injections, numbers, selected, onSelect }: PlanTableProps) {
  return <>{injections.map((i) => {
    const given = givenUnits(i);
    const units = plannedUnits(i);
    return (
      <button type="button" class="cell" aria-pressed={i.id === selected} onClick={() => onSelect(i.id!)}>
        <span class="row"><span class="number">{numbers.get(i.id!)}</span>{units ? <Quantity value={units} unit="units" /> : <span class="strong">{t("plan.no_units")}</span>}</span>
        <span class="small soft">{placeText(i.place)}</span>
        {given !== null && <span class="tag given">{"\u2713"} {t("plan.given")}{given === units ? "" : <>{"\u00a0"}<Quantity value={given} unit="units" size="plain" /></>}</span>}
      </button>
    );
  })}</>;
}

/** Total is the core's sum of one muscle and side; two values mean that tablets disagree. */
function Total({ totals, muscle, side, injections }: PlanTableProps & { muscle: string; side: Side }) {
  const span = totals?.targets?.find((x) => x.muscle === muscle && x.side === side)?.planned;
  const several = injections.filter((i) => i.muscle === muscle && i.side === side).length > 1;
  if (!span?.most_units || !several) return null;
  return <p class="small">{t("plan.together")} <Quantity value={span.most_units} unit="units" size="plain" /></p>;
}
