// What a choice of method, effect, period and day makes of every receptor.
(function (rm) {
  "use strict";

  /** Return, for every kind of finding, whether it belongs to the chosen effect and period. */
  function chosenKinds(data, state) {
    return data.kinds.map(
      (kind) =>
        (state.effect === "governing" || kind.effect === state.effect) &&
        (!state.period || kind.period === state.period),
    );
  }

  /** Return the finding that governs each receptor under the choice, -1 where there is none.
   *  Findings stand in order of severity, so the first that belongs to the choice is the one. */
  rm.governing = function (data, state) {
    const fits = chosenKinds(data, state);
    const kind = data.column("findings.kind");
    const methods = data.head.methods.length;
    const out = new Int32Array(data.receptors).fill(-1);
    for (let receptor = 0; receptor < data.receptors; receptor += 1) {
      const cell = receptor * methods + state.method;
      for (let finding = data.first[cell]; finding < data.first[cell + 1]; finding += 1) {
        if (fits[kind[finding]]) {
          out[receptor] = finding;
          break;
        }
      }
    }
    return out;
  };

  /** Return the words by day that the page holds for the choice, or null. */
  function dayWords(data, state) {
    const held = data.head.daily.held[state.method];
    return held.includes(state.effect) ? data.column(`day.${state.method}.${state.effect}`) : null;
  }

  /** Return the number of receptors of every word. */
  rm.countWords = function (data, words) {
    const counts = Array.from(data.head.words, () => 0);
    for (const word of words) counts[word] += 1;
    return counts;
  };

  /** Return what is shown: each receptor's word and governing finding; `byDay` tells whether the words are a day's. */
  rm.view = function (data, state) {
    const finding = rm.governing(data, state);
    const words = new Uint8Array(data.receptors).fill(data.wordIndex.none);
    const severity = data.column("findings.word");
    for (let receptor = 0; receptor < data.receptors; receptor += 1) {
      if (finding[receptor] >= 0) words[receptor] = severity[finding[receptor]];
    }
    const days = data.head.methods[state.method].days.length;
    const daily = state.day >= 0 ? dayWords(data, state) : null;
    if (daily) {
      for (let receptor = 0; receptor < data.receptors; receptor += 1) {
        if (finding[receptor] >= 0) words[receptor] = daily[receptor * days + state.day];
      }
    }
    return { finding, words, byDay: Boolean(daily), counts: rm.countWords(data, words) };
  };

  /** Return the counts of a method under the same choice, those in cells too, for the comparison beside its name. */
  rm.methodCounts = function (data, state, method) {
    const choice = { ...state, method, day: -1 };
    const rest = rm.restCounts(data, choice);
    return rm.view(data, choice).counts.map((count, index) => count + rest[index]);
  };

  /** Return the codes of all words, the most severe first. */
  rm.wordOrder = function (data) {
    const { words } = data.head;
    return words.map((word, index) => index).sort((a, b) => words[a].rank - words[b].rank);
  };

  /** Return "12 likely, 3 possible" in order of severity; words without a receptor are left out. */
  rm.countText = function (data, counts) {
    const told = rm
      .wordOrder(data)
      .filter((index) => counts[index])
      .map((index) => `${counts[index]} ${data.head.words[index].word}`);
    return told.join(", ") || "no receptors";
  };

  /** Return the heading of margins, which are those of the whole programme on every day. */
  rm.marginTitle = function (view) {
    return view.byDay ? "Margin, all days" : "Margin";
  };

  rm.outside = function (data, finding) {
    return finding >= 0 && data.column("findings.outside")[finding] === 1;
  };

  rm.verify = function (data, finding) {
    return finding >= 0 ? data.head.meanings.verify[data.kind(finding).basis] || "" : "";
  };

  /** Return the order of receptors in which the most severe comes first, then the smallest margin. */
  rm.bySeverity = function (data, view) {
    const rank = data.head.words.map((word) => word.rank);
    const margin = data.column("findings.margin_db");
    const key = (receptor) => {
      const finding = view.finding[receptor];
      return finding < 0 || margin[finding] === -32768 ? 32768 : margin[finding];
    };
    return Array.from({ length: data.receptors }, (_, index) => index).sort(
      (a, b) => rank[view.words[a]] - rank[view.words[b]] || key(a) - key(b) || a - b,
    );
  };
})((window.riskMap = window.riskMap || {}));
