@echo off
rem Doffer on Windows: makes .venv (first time only), then serves the mill on this computer.
rem UNTESTED: nobody has run this on Windows yet. Please report what happens.
setlocal
cd /d "%~dp0"
if exist .venv\.doffer-ready goto serve
py -3.11 --version >nul 2>&1
if errorlevel 1 (
    echo Doffer needs Python 3.11, and it was not found here. Install it from python.org and start run.cmd again.
    exit /b 1
)
echo Setting up Doffer in .venv (once; a few minutes) ...
if not exist .venv\Scripts\python.exe py -3.11 -m venv .venv || exit /b 1
.venv\Scripts\python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements.lock || exit /b 1
echo ready> .venv\.doffer-ready
:serve
set PYTHONPATH=%~dp0src
if "%~1"=="" (
    .venv\Scripts\python -m doffer.cli.main serve
) else (
    .venv\Scripts\python -m doffer.cli.main %*
)
