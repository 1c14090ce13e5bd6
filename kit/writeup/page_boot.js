(async () => {
  "use strict";
  const body = document.body;
  const tables = [...document.querySelectorAll("details.numbers")];
  const openAll = (open) => tables.forEach((table) => { table.open = open; });
  // Without this script the tables stay open; with it they fold away on the screen and unfold for paper.
  openAll(false);
  addEventListener("beforeprint", () => openAll(true));
  addEventListener("afterprint", () => openAll(false));

  const unpack = async (packed) => {
    const bytes = Uint8Array.from(atob(packed.trim()), (letter) => letter.charCodeAt(0));
    const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"));
    return new Response(stream).text();
  };

  const run = (text) => {
    const script = document.createElement("script");
    script.textContent = text;
    document.head.append(script);
  };

  const draw = (island) => {
    const figure = JSON.parse(island.textContent);
    if (matchMedia("(pointer: coarse)").matches) {
      figure.layout.dragmode = false; // a finger scrolls the page, it does not zoom
    }
    const place = document.getElementById(island.dataset.figure);
    return Plotly.newPlot(place, figure.data, figure.layout,
      { responsive: true, displayModeBar: false, displaylogo: false });
  };

  try {
    run(await unpack(document.getElementById("plotly-packed").textContent));
    await Promise.all([...document.querySelectorAll("script[data-figure]")].map(draw));
    body.dataset.ready = "true";
  } catch (error) {
    openAll(true);
    document.querySelectorAll(".plot:empty").forEach((place) => {
      place.textContent = "This browser could not draw the figure. Its numbers are in the table below.";
    });
    body.dataset.ready = "failed";
    console.error(error);
  }
})();
