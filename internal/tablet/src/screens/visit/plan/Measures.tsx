// The distances measured on the patient, which scale the frames. Without one the model's figure stands, and whatever rests on it says so.

import { useState } from "preact/hooks";
import { t, word } from "../../../i18n";
import { Keypad } from "../../../ui/Keypad";
import { micrometers, mmOf, quantityText } from "../../../ui/decimal";
import { measures } from "../record";
import type { Visit } from "../useVisit";
import { measured } from "./writes";

/** Measures lists the distances of the frames that the plan uses. */
export function Measures({ visit, frames }: { visit: Visit; frames: readonly string[] }) {
  const [asked, setAsked] = useState<string | null>(null);
  const known = measures(visit.session);
  const used = (visit.anatomy?.frames ?? []).filter((f) => frames.includes(f.code)).flatMap((f) => f.measures);
  const each = [...new Map(used.map((m) => [m.code, m])).values()];
  const now = each.find((m) => m.code === asked);
  if (now) {
    return <Keypad label={t("measure.ask", { name: word("measure", now.code) })} unit="mm" places={1} value={known[now.code] ? mmOf(known[now.code]) : ""}
      range={now.between} onLeave={() => setAsked(null)} onDone={(mm) => { const um = micrometers(mm); if (um !== null) void measured(visit, now.code, um).then((kept) => kept && setAsked(null)); }} />;
  }
  return (
    <div class="rows">
      {each.map((m) => (
        <button type="button" class="line" onClick={() => setAsked(m.code)}>
          <span><span class="strong">{word("measure", m.code)}</span> <span class="soft small">{m.between}</span></span>
          <span class="nowrap">{known[m.code] ? <span class="strong">{quantityText(mmOf(known[m.code]), "mm")}</span> : <span class="soft">{t("measure.default", { size: quantityText(short(m.default_mm), "mm") })}</span>}</span>
        </button>
      ))}
    </div>
  );
}

/** short is a decimal cut to a tenth for a remark. */
const short = (mm: string) => mm.replace(/(\.\d)\d+$/, "$1").replace(/\.0$/, "");
