// Heights of letters, px, in text, printed output, a picture, a readout, a slider's name and a button.
() => {
  const at = selector =>
    document.querySelector('.jp-NotebookPanel:not(.lm-mod-hidden) ' + selector);
  const size = selector => parseFloat(getComputedStyle(at(selector)).fontSize);
  const letters = selector => {
    const range = document.createRange();
    range.selectNodeContents(at(selector));
    return range.getClientRects()[0].height;
  };
  return {
    text: size('.jp-MarkdownCell p'),
    printed: size('.jp-OutputArea-output[data-mime-type*=stdout] pre'),
    picture: at('.rig-live text').getBoundingClientRect().height,
    panel: at('.rig-view text').getBoundingClientRect().height,
    readout: letters('.rig-readout'),
    slider: letters('.rig-panel .rig-name'),
    button: letters('.rig-panel button'),
  };
}
