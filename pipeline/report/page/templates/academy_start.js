// Starts the page once every view has registered.

start();
