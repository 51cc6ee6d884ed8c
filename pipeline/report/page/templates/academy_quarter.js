// The view #quarter: the first screen and the first printed page.

(() => {
  VIEWS.quarter = {
    title: (_, { data, fmt }) => fmt.quarter(data.study.newest),
    show(root, _, context) {
      root.append(context.el("h1", {}, context.data.study.title));
    },
  };
})();
