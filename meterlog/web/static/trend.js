// The last minute of each display, from the record and from what comes: nothing older is drawn or named.
const MINUTE_MS = 60_000;
const trends = new Map(); // "link channel quantity" -> [[ms, value, words]]

export function remember(link, reading, at = Date.now()) {
  if (reading.value === null || reading.value === undefined) return;
  const name = `${link} ${reading.channel} ${reading.quantity}`;
  const points = trends.get(name) ?? trends.set(name, []).get(name);
  points.push([at, reading.value, reading.digits ? `${reading.digits} ${reading.unit}` : ""]);
}

export function draw(display) {
  const now = Date.now();
  const points = trends.get(`${display.dataset.link} ${display.dataset.channel} ${display.dataset.quantity}`) ?? [];
  while (points.length && points[0][0] < now - MINUTE_MS) points.shift();
  display.querySelector(".minute").hidden = points.length < 2;
  if (points.length < 2) return;
  const values = points.map((point) => point[1]);
  const low = Math.min(...values);
  const high = Math.max(...values);
  const x = (at) => (300 * (1 - (now - at) / MINUTE_MS)).toFixed(1);
  const y = (value) => (high > low ? 37 - (34 * (value - low)) / (high - low) : 20).toFixed(1);
  const words = (value) => points.find((point) => point[1] === value)[2];
  display.querySelector(".trend-low").textContent = words(low) && `low ${words(low)}`;
  display.querySelector(".trend-high").textContent = words(high) && `high ${words(high)}`;
  display.querySelector(".trend path").setAttribute("d", "M" + points.map(([at, value]) => `${x(at)} ${y(value)}`).join("L"));
}

export async function seed() {
  const found = await fetch("/bench/minute");
  if (!found.ok) return;
  for (const row of await found.json()) remember(row.link, row, row.utc_ms);
  for (const points of trends.values()) points.sort((a, b) => a[0] - b[0]);
}
