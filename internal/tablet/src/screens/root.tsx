import type { Core } from "../core";
import { useRead } from "../use";

/** Root is everything that is shown while the tablet is unlocked, below the line that the shell draws at the top. */
export function Root({ core }: { core: Core }) {
  const on = today();
  const day = useRead(core, () => core.day({ on }), [on.year, on.month, on.day]);
  return (
    <main>
      <h1>Today</h1>
      <ul>
        {day.value?.map((line) => (
          <li key={line.patient.patient_id}>{line.patient.name?.full}</li>
        ))}
      </ul>
    </main>
  );
}

function today() {
  const now = new Date();
  return { year: now.getFullYear(), month: now.getMonth() + 1, day: now.getDate() };
}
