// The door by which JupyterLab loads this extension: a module-federation container written by
// hand, so that nothing needs to be built. JupyterLab calls init() with the modules it shares and
// then get() for each part named in package.json.
(() => {
  const name = 'fairpull-notebooks';
  const here = new URL('.', document.currentScript.src);
  let shared = {};

  // The copy that the application itself uses: its tokens are the ones its plugins were given.
  async function fromApplication(module) {
    const versions = Object.values(shared[module] ?? {});
    const own = versions.find(version => String(version.from).includes('application-top'));
    const factory = await (own ?? versions[0]).get();
    return factory();
  }

  const parts = {
    './extension': async () => {
      const notebook = await fromApplication('@jupyterlab/notebook');
      const { makePlugin } = await import(new URL('plugin.js', here).href);
      return { __esModule: true, default: makePlugin(notebook) };
    },
    './style': async () => {
      const sheet = document.createElement('link');
      sheet.rel = 'stylesheet';
      sheet.href = new URL('lab.css', here).href;
      document.head.append(sheet);
      return {};
    }
  };

  window._JUPYTERLAB = window._JUPYTERLAB ?? {};
  window._JUPYTERLAB[name] = {
    init: scope => {
      shared = scope;
    },
    get: async part => {
      const module = await parts[part]();
      return () => module;
    }
  };
})();
