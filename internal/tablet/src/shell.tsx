// The shell: the tablet's own screens before and around those of the chart.

import { useEffect } from "preact/hooks";
import { boot, locked, phase } from "./boot";
import { Root } from "./screens/root";
import { Elsewhere, Lost, Starting, Storage, Troubled } from "./shell/trouble";
import { Enrol } from "./shell/enrol";
import { Revoked } from "./shell/revoked";
import { Lock, SignIn, Unlock } from "./shell/unlock";
import { Update } from "./shell/update";
import { watchForUpdates } from "./update";

/** How long nobody may touch the tablet before it locks its screen, in ms. */
const idleLock = 120_000;

/** Shell is the whole page. */
export function Shell() {
  useEffect(() => {
    void boot().then(watchForUpdates);
    return watchIdle();
  }, []);
  const p = phase.value;
  switch (p.at) {
    case "starting":
      return <Starting />;
    case "elsewhere":
      return <Elsewhere />;
    case "trouble":
      return <Troubled trouble={p.trouble} cause={p.cause} />;
    case "revoked":
      return <Revoked identity={p.identity} edits={p.edits} />;
    case "lost":
      return <Lost />;
    case "enrol":
      return <Enrol code={p.code} />;
    case "storage":
      return <Storage free={p.free} />;
    case "sign_in":
      return <SignIn identity={p.identity} />;
    case "unlock":
      return <Unlock identity={p.identity} people={p.people} />;
    case "open":
      return (
        <>
          <div class="opened" hidden={locked.value} inert={locked.value}>
            <Root core={p.core} />
            <Update />
          </div>
          {locked.value && <Lock core={p.core} />}
        </>
      );
  }
}

/** Locks the screen when nobody touched the tablet for a while. What is half typed stays where it is. */
function watchIdle(): () => void {
  let timer: ReturnType<typeof setTimeout>;
  const again = () => {
    clearTimeout(timer);
    timer = setTimeout(() => {
      if (phase.value.at === "open") locked.value = true;
    }, idleLock);
  };
  const events = ["pointerdown", "keydown", "input"] as const;
  for (const e of events) addEventListener(e, again, { passive: true, capture: true });
  again();
  return () => {
    clearTimeout(timer);
    for (const e of events) removeEventListener(e, again, { capture: true });
  };
}
