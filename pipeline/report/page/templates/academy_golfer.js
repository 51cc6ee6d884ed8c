// The view #golfer.

(() => {
  VIEWS.golfer = {
    needsStories: true,
    title: (argument) => argument,
    show(root, argument, context) {
      root.append(context.el("h1", {}, argument));
    },
  };
})();
