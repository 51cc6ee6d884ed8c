// The view #data.

(() => {
  VIEWS.data = {
    needsStories: false,
    title: (argument) => argument,
    show(root, argument, context) {
      root.append(context.el("h1", {}, argument));
    },
  };
})();
