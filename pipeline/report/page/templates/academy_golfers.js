// The view #golfers: every golfer in one table.

(() => {
  VIEWS.golfers = {
    title: (_, { texts }) => texts.golfers,
    show(root, _, context) {
      root.append(context.el("h1", {}, context.texts.golfers));
    },
  };
})();
