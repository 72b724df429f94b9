// Meter arithmetic on the phone, the same as machines/cabinets/rules.py.
const FASTEST_PLAY_SECONDS = 8;
const SLACK_PLAYS = 50;

export function mostCounts(seconds, perPlay) {
  return (Math.floor(Math.max(0, seconds) / FASTEST_PLAY_SECONDS) + SLACK_PLAYS) * Math.max(1, perPlay);
}

// What happened between two readings: { counts, how }; counts is null when it must be asked about.
export function interval({ last, value, digits, seconds, perPlay, tests, explained }) {
  const size = 10 ** digits;
  const moved = value - last;
  const wrapped = ((moved % size) + size) % size;
  const most = mostCounts(seconds, perPlay);
  let counts = null;
  let how = "question";
  if (explained === "unknown") how = "left out";
  else if (explained === "reset") [counts, how] = [value, "counted from the reset"];
  else if (moved >= 0 && (moved <= most || explained === "right")) [counts, how] = [moved, "counted"];
  else if (moved < 0 && wrapped <= Math.min(most, size / 2)) [counts, how] = [wrapped, "rolled over"];
  if (counts !== null) counts = Math.max(0, counts - tests);
  return { counts, how };
}

// Whether so many counts in so many days are more than ten times what is usual here (counts a day).
export const isUnusual = (counts, days, usual) => counts > 10 * usual * Math.max(days, 0.5) + SLACK_PLAYS;
