// How figures are worded: rounded to what their uncertainty supports, the unit always said.
const known = (v) => v !== null && v !== undefined;
const signed = (v, decimals) => (v < 0 ? "−" : "+") + Math.abs(v).toFixed(decimals);
const plain = (v, decimals) => v.toFixed(decimals).replace("-", "−");

function arcminutes(v) {
  const a = Math.abs(v);
  if (a < 10) return `${a.toFixed(1)}′`;
  if (a < 59.5) return `${a.toFixed(0)}′`;
  const m = Math.round(a);
  return `${Math.floor(m / 60)}°${String(m % 60).padStart(2, "0")}′`;
}
const degrees = (arcmin) => `${(Math.abs(arcmin) / 60).toFixed(2)}°`;

function duration(s) {
  if (s < 9.95) return `${s.toFixed(1)} s`;
  const n = Math.round(s);
  if (n < 120) return `${n} s`;
  if (n < 7200) return n % 60 === 0 || n > 1200 ? `${Math.floor(n / 60)} min` : `${Math.floor(n / 60)} min ${n % 60} s`;
  return `${Math.floor(n / 3600)} h ${Math.floor((n % 3600) / 60)} min`;
}

/** Decimals that show two figures of the uncertainty. */
const decimalsFor = (sigma) => (sigma > 0 ? Math.min(7, Math.max(0, 1 - Math.floor(Math.log10(sigma)))) : 3);
function plusMinus(v, sigma) {
  if (!known(sigma) || !(sigma > 0)) return plain(v, 3);
  const d = decimalsFor(sigma);
  return `${plain(v, d)} ± ${sigma.toFixed(d)}`;
}
/** A trail: hundredths of a pixel are finer than anybody needs. */
const trailWords = (v, sigma) => (known(sigma) ? `${plain(v, 2)} ± ${Math.max(sigma, 0.01).toFixed(2)}` : plain(v, 2));
const utc = (iso) => (known(iso) ? `${iso.slice(0, 10)} ${iso.slice(11, 19)} UTC` : "time unknown");
const clock = (iso) => (known(iso) ? iso.slice(11, 19) : "–");
const count = (n, one, many) => `${n} ${n === 1 ? one : many ?? one + "s"}`;
const capital = (text) => text.charAt(0).toUpperCase() + text.slice(1);

const at = (object, path) => path.split(".").reduce((o, k) => (known(o) ? o[k] : undefined), object);
/** A figure of the result: its exact value stays with what is shown, for whoever reads the page by machine. */
function figure(result, path, wording, className) {
  const value = at(result, path);
  if (!known(value)) return null;
  return el("data", { value: String(value), "data-key": path, class: className }, wording(value));
}
