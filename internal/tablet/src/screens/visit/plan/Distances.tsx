// How far a place is from the edge of each zone of its muscle, and from the midline, as it is moved. The core measures.

import type { Injection } from "../../../messages";
import { t, word } from "../../../i18n";
import { useRead } from "../../../use";
import { millimetres } from "../../../ui/decimal";
import type { Visit } from "../useVisit";

const size = (mm: string) => millimetres(mm.replace(/^-/, ""));

/** Distances lists the readings of one injection: what is outside a zone first. */
export function Distances({ visit, injection }: { visit: Visit; injection: Injection }) {
  const place = injection.place;
  const located = useRead(visit.core, async () => (place && injection.muscle
    ? visit.core.locate({ place, muscle: injection.muscle, ...(injection.side ? { side: injection.side } : {}), ...(injection.planned?.product ? { product: injection.planned.product } : {}) })
    : null), [place?.frame, place?.x_micrometers, place?.y_micrometers, place?.scale?.measured_micrometers, injection.muscle, injection.side]).value;
  if (!located) return <p class="soft">{t("distance.no_place")}</p>;
  const readings = [...located.readings].sort((a, b) => Number(a.inside) - Number(b.inside));
  return (
    <ul class="distances" aria-live="polite" aria-label={t("distance.title")}>
      {located.midline_mm && <li><span class="strong nowrap">{size(located.midline_mm)}</span> {t("distance.midline")}</li>}
      {located.crossed && <li class="strong"><span aria-hidden="true">{"\u25b2"}</span> {t("distance.crossed", { side: word("side", located.side) })}</li>}
      {readings.map((r) => (
        <li>
          <span aria-hidden="true">{r.inside ? "\u2713" : /caution/i.test(r.level) ? "\u25b2" : "\u25cb"}</span>{" "}
          <span class="strong nowrap">{size(r.margin_mm)}</span> {t(r.inside ? "distance.inside" : "distance.outside", { zone: word("zone", r.zone) })}
          {r.by_default && <span class="soft small"> {t("distance.by_default")}</span>}
        </li>
      ))}
      {located.unmeasured.map((u) => <li class="soft">{t("distance.unmeasured", { zone: word("zone", u.zone), reason: u.reason })}</li>)}
    </ul>
  );
}
