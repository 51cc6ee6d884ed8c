// Makes the sides of printed sheets fit their paper: what can best be spared goes, letters keep their size. An element
// with data-spare may go, the largest number first; what helps the student this quarter has the smallest, or none. What
// follows such an element in the class "instead" stands there only without it.

const GOLFER_FIT = (() => {
  const MEASURED = "measuring-sheets"; // the class under which sheets are laid out unseen
  const LEAST_NOTES = 56; // CSS pixels: the heading and a line to write on

  const isOver = (side) => side.scrollHeight > side.clientHeight;
  const byNeed = (elements) => d3.sort(elements, (one) => Number(one.dataset.spare));

  // Each step changes all sides that are concerned and then measures them: hundreds of sheets are laid out only as often
  // as one.
  function fit(root) {
    document.documentElement.classList.add(MEASURED);
    const sides = [...root.querySelectorAll(".side")].map((side) => ({ side, kept: byNeed(side.querySelectorAll("[data-spare]")), gone: [] }));
    let over = sides.filter(({ side }) => isOver(side));
    const tight = over;
    while (over.length) {
      over = over.filter(({ kept }) => kept.length);
      over.forEach((one) => {
        const last = one.kept.pop();
        last.hidden = true;
        one.gone.push(last);
      });
      over = over.filter(({ side }) => isOver(side));
    }
    // The last to go may have left room for what went before it.
    let left = tight;
    while (left.length) {
      left = left.filter(({ gone }) => gone.length);
      const tried = left.map(({ side, gone }) => ({ side, back: gone.pop() }));
      tried.forEach(({ back }) => { back.hidden = false; });
      tried.filter(({ side }) => isOver(side)).forEach(({ back }) => { back.hidden = true; });
    }
    const notes = [...root.querySelectorAll(".notes")].filter((one) => one.clientHeight < LEAST_NOTES);
    [...notes, ...root.querySelectorAll("[data-spare][hidden]")].forEach((one) => one.remove());
    document.documentElement.classList.remove(MEASURED);
  }

  // Marks an element as one that may go; null stays null.
  function spare(element, number) {
    if (element) element.dataset.spare = String(number);
    return element;
  }

  return { fit, spare };
})();
