// Looks up the table of questions and advice that the engine made (sfn/survey/rules.py): the same steps, in exact
// fractions, so that a telephone without a connection says what the server would. No number of its own, no wording.
"use strict";

const atSite = (() => {
  const THIN = "\u202f", MOST_CHARACTERS = 60;
  const magnitude = (n) => (n < 0n ? -n : n);
  const common = (a, b) => { while (b) [a, b] = [b, a % b]; return a; };
  const make = (n, d) => {
    if (d < 0n) [n, d] = [-n, -d];
    const shared = common(magnitude(n), d) || 1n;
    return { n: n / shared, d: d / shared };
  };
  const fraction = (text) => {
    const [, sign, whole, part = "", power = "0", below = "1"] = /^([+-]?)(\d*)\.?(\d*)?(?:[eE]([+-]?\d+))?(?:\/(\d+))?$/.exec(text);
    const scale = Number(power) - part.length;
    const digits = BigInt(`${whole}${part}` || "0") * (sign === "-" ? -1n : 1n);
    return scale < 0 ? make(digits, BigInt(below) * 10n ** BigInt(-scale)) : make(digits * 10n ** BigInt(scale), BigInt(below));
  };
  const add = (a, b) => make(a.n * b.d + b.n * a.d, a.d * b.d);
  const times = (a, b) => make(a.n * b.n, a.d * b.d);
  const over = (a, b) => make(a.n * b.d, a.d * b.n);
  const minus = (a) => ({ n: -a.n, d: a.d });
  const compare = (a, b) => { const left = a.n * b.d, right = b.n * a.d; return left < right ? -1 : left > right ? 1 : 0; };
  const size = (a) => ({ n: magnitude(a.n), d: a.d });
  const floor = (a) => (a.n >= 0n ? a.n / a.d : -((-a.n + a.d - 1n) / a.d));
  const rounded = (a) => {  // halves to even
    const down = floor(a), twice = compare(add(a, { n: -down, d: 1n }), { n: 1n, d: 2n });
    return twice < 0 || (twice === 0 && down % 2n === 0n) ? down : down + 1n;
  };

  const parted = (digits) => digits.replace(/\B(?=(\d{3})+(?!\d))/g, THIN);
  const fixed = (a, decimals) => {
    const ten = 10n ** BigInt(decimals), counted = rounded(times(a, { n: ten, d: 1n })), bare = magnitude(counted);
    const part = decimals ? `.${(bare % ten).toString().padStart(decimals, "0")}` : "";
    return `${counted < 0n ? "-" : ""}${parted((bare / ten).toString())}${part}`;
  };
  const significant = (a, digits) => {
    if (a.n === 0n) return "0";
    const bare = size(a);
    // The power of ten of the first digit, from the lengths of both numbers; then exactly.
    let first = bare.n.toString().length - bare.d.toString().length;
    const power = (k) => (k < 0 ? { n: 1n, d: 10n ** BigInt(-k) } : { n: 10n ** BigInt(k), d: 1n });
    if (compare(bare, power(first)) < 0) first -= 1;
    const unit = power(first - digits + 1), counted = times({ n: rounded(over(bare, unit)), d: 1n }, unit);
    const decimals = Math.max(0, digits - 1 - first), text = fixed(counted, decimals);
    return `${a.n < 0n ? "-" : ""}${decimals ? text.replace(/0+$/, "").replace(/\.$/, "") : text}`;
  };
  const digitsOf = (a) => significant(size(a), 10).split(".").join("").split(THIN).join("");
  const ordered = (text) => [...text].sort().join("");
  const bareEnds = (text) => text.replace(/^0+|0+$/g, "");

  const plain = (text) => text.trim().replace(/(\d)[ \t\u00a0\u2009\u202f](?=\d{3}(?!\d))/g, "$1").split("\u2212").join("-");
  // A number as people write it (sfn/plan/number_text.py); refused in the same words.
  const number = (text) => {
    let bare = plain(text);
    if (/^[+-]?[1-9]\d{0,2},\d{3}$/.test(bare)) {
      const ways = `${bare.replace(",", ".")} or ${bare.replace(",", "")}`;
      return { wrong: `'${text}' can be ${ways}: write thousands without a mark, or one more decimal` };
    }
    if (bare.split(",").length === 2 && !bare.includes(".")) bare = bare.replace(",", ".");
    if (bare.length > MOST_CHARACTERS || !/^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,2})?$/.test(bare)) {
      return { wrong: `'${text.slice(0, MOST_CHARACTERS)}' is no number` };
    }
    return { value: fraction(bare) };
  };

  const sumOf = (sum, values) => {
    let total = fraction(sum.plus);
    for (const [name, factor] of sum.terms) {
      if (!(name in values)) return null;
      total = add(total, times(fraction(factor), values[name]));
    }
    if (sum.turn === undefined) return total;
    const turn = fraction(sum.turn), turns = floor(add(over(total, turn), { n: 1n, d: 2n }));
    return add(total, minus(times(turn, { n: turns, d: 1n })));
  };
  const inside = (total, low, high) =>
    (low === null || compare(fraction(low), total) <= 0) && (high === null || compare(total, fraction(high)) <= 0);
  const exchanged = function* (a) {
    const text = significant(size(a), 15).split(THIN).join("");
    const places = [...text].map((mark, i) => (mark === "." ? -1 : i)).filter((i) => i >= 0);
    for (let k = 0; k + 1 < places.length; k += 1) {
      const turned = [...text], [i, j] = [places[k], places[k + 1]];
      if (turned[i] === turned[j]) continue;
      [turned[i], turned[j]] = [turned[j], turned[i]];
      const other = fraction(turned.join(""));
      yield a.n < 0n ? minus(other) : other;
    }
  };
  const holds = {
    within: (one, values) => {
      const total = sumOf(one.sum, values);
      return total !== null && inside(total, one.low, one.high) !== one.outside ? values : null;
    },
    whole: (one, values) => {
      const total = sumOf(one.sum, values);
      return total !== null && (over(total, fraction(one.step)).d === 1n) !== one.outside ? values : null;
    },
    digits: (one, values) => {
      if (!(one.name in values)) return null;
      const own = digitsOf(values[one.name]);
      const pairs = [[own, one.other], [bareEnds(own), bareEnds(one.other)]];
      return pairs.some(([a, b]) => a !== b && ordered(a) === ordered(b)) ? values : null;
    },
    exchanged: (one, values) => {
      if (!(one.name in values)) return null;
      for (const other of exchanged(values[one.name])) {
        const total = sumOf(one.sum, { ...values, [one.name]: other });
        if (total !== null && inside(total, one.low, one.high)) return { ...values, exchanged: other };
      }
      return null;
    },
  };
  const slot = (one, values) => {
    let total = sumOf(one.sum, values);
    if (one.step !== undefined) {
      const step = fraction(one.step);
      total = times({ n: rounded(over(total, step)), d: 1n }, step);
    }
    const text = one.fixed ? fixed(total, one.digits) : significant(total, one.digits);
    return one.signed && !text.startsWith("-") ? `+${text}` : text;
  };
  const asks = (rule, values) => {
    let known = values;
    for (const one of rule.when) {
      known = holds[one.is](one, known);
      if (known === null) return null;
    }
    const said = (pieces) => pieces.map((one) => (typeof one === "string" ? one : slot(one, known))).join("");
    return { text: said(rule.says), ...(rule.told && rule.told.length ? { told: said(rule.told) } : {}), slip: !rule.plain };
  };
  const asked = (groups, values) => groups.flatMap((group) => {
    if (group.unless.length && group.unless.every((one) => holds[one.is](one, values) !== null)) return [];
    for (const rule of group.rules) {
      const found = asks(rule, values);
      if (found !== null) return [found];
    }
    return [];
  });

  const lockNumber = (text, units) => {
    const behind = units.map((unit) => unit.toLowerCase()).sort((a, b) => b.length - a.length);
    let bare = text.trim();
    const unit = behind.find((one) => bare.toLowerCase().endsWith(one));
    if (unit !== undefined) bare = bare.slice(0, bare.length - unit.length).trimEnd();
    return /^[+\-\u2212]?[\d.,]+$/.test(bare) ? number(bare) : null;
  };

  // Everything that a form says: numbers, what cannot be read, what is asked, what to do.
  const judge = (table, typed) => {
    const values = {}, readings = {}, wrong = {}, questions = [];
    for (const name of ["test_cable_us", "demodulator_us"]) values[name] = fraction("0");
    if (typed.plane in table.planes) values.plane_us = fraction(table.planes[typed.plane]);
    const locks = {};
    for (const [name, text] of Object.entries(typed)) {
      if (!text.trim()) continue;
      if (/^(set-|reading-)|^(test_cable_us|demodulator_us)$/.test(name)) {
        const found = number(text);
        if (found.wrong) wrong[name] = found.wrong;
        else (name.startsWith("reading-") ? readings : values)[name] = found.value;
      } else if (name.startsWith("lock-") && name in table.fields) {
        const found = lockNumber(text, table.units);
        if (found && found.wrong && table.fields[name].length) locks[name] = [{ text: `${found.wrong}: which is meant?`, code: "lock-unclear", gaps: { typed: text.trim() }, slip: true }];
        else if (found && found.value) locks[name] = asked(table.fields[name], { [name]: found.value });
      }
    }
    for (const [name, groups] of Object.entries(table.fields)) {
      if (name in locks) continue;
      if (name in values) questions.push(...asked(groups, values).map((one) => ({ field: name, ...one })));
    }
    const offs = [];
    for (const [name, value] of Object.entries(readings)) {
      const known = { ...values, reading: value }, off = sumOf(table.off, known);
      if (off !== null) offs.push(off);
      questions.push(...asked(table.readings, known).map((said) => ({ field: name, ...said })));
    }
    for (const [name, said] of Object.entries(locks)) questions.push(...said.map((one) => ({ field: name, ...one })));
    const tolerated = fraction(table.tolerated);
    const agreeing = offs.filter((one) => compare(size(one), tolerated) <= 0).length;
    const fields = Object.keys(table.planned), seen = fields.filter((name) => name in values);
    const all = (standing) => seen.every((name) => name in standing && compare(fraction(standing[name]), values[name]) === 0);
    const whole = seen.length === fields.length;
    const moved = () => seen.reduce((total, name) =>
      add(total, times(fraction(table.weights[name]), add(values[name], minus(fraction(table.planned[name]))))), fraction("0"));
    const settings = !seen.length ? "none" : all(table.planned) ? (whole ? "planned" : "none")
      : !whole ? "part" : all(table.back) ? "back" : moved().n === 0n ? "split" : "other";
    let worst = null;
    for (const one of offs) if (worst === null || compare(size(one), size(worst)) > 0) worst = one;
    const off = worst === null ? null : fixed(worst, 3);
    return {
      wrong, questions, advice: table.advice[`${settings} ${offs.length} ${agreeing}`],
      off: off === null || off.startsWith("-") ? off : `+${off}`,
    };
  };
  return { judge, number };
})();
