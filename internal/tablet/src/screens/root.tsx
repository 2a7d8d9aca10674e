// Everything that is shown while the tablet is unlocked, below the line that the shell draws at the top.

import { useEffect } from "preact/hooks";
import type { Core } from "../core";
import { followTheme } from "../ui/theme";
import { Desk } from "../desk/Desk";
import { Calculator } from "./Calculator";
import { Conflicts } from "./Conflicts";
import { Day } from "./Day";
import { DayEnd } from "./DayEnd";
import { facing, FacingScreen } from "./Facing";
import { Patient } from "./Patient";
import { route } from "./route";
import { Visit } from "./visit/Visit";

/** Root shows the screen of the route, or what is in the patient's hands. */
export function Root({ core }: { core: Core }) {
  useEffect(() => followTheme(() => "device"), []);
  if (facing.value) return <FacingScreen core={core} now={facing.value} />;
  const to = route.value;
  switch (to.screen) {
    case "day": return <Day core={core} />;
    case "patient": return <Patient core={core} id={to.id} />;
    case "visit": return <Visit core={core} id={to.id} step={to.step} />;
    case "conflicts": return <Conflicts core={core} />;
    case "day_end": return <DayEnd core={core} />;
    case "desk": return <Desk core={core} at={to.at} />;
    case "calculator": return <Calculator core={core} />;
  }
}
